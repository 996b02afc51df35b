"""The rows of a record book's file, put into the book.

An empty field is unknown, and unknown is no news: it leaves what the book knows. So a file that
was imported long ago does no harm when it is imported again after outcomes were entered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

from collector.book.book import Book
from collector.book.records import Meal, Placement, Record
from collector.book.rules import label, shown_field
from collector.book.tables import TABLES
from collector.exchange.kinds import KINDS, Kind, MissingError
from collector.exchange.rows import Sheet
from config.errors import BadEntry

Row = tuple[int, Sequence[Record]]
"""The line, and the records that it speaks of."""
Key = tuple[object, ...]


def put_rows(kind: str, sheet: Sheet, book: Book) -> tuple[Counter[str], list[tuple[int, Record]]]:
    """Put every row; what cannot be goes to the sheet's faults.

    Returns how many were what, and the records that are new or changed, each with its line.
    """
    counts: Counter[str] = Counter()
    said: dict[Key, int] = {}
    written: list[tuple[int, Record]] = []
    for line, records in _in_order(_rows(KINDS[kind], sheet)):
        done = set()
        try:
            for record in records:
                word, known = _put(record, book, said, line)
                done.add(word)
                if word != "same":
                    written.append((line, known))
        except BadEntry as fault:
            sheet.faults.add(line, fault.field or "the row", fault.why)
            continue
        counts[next(word for word in ("added", "changed", "same") if word in done)] += 1
    return counts, written


def _rows(kind: Kind, sheet: Sheet) -> Iterator[Row]:
    for line, row in sheet:
        records = _records(kind, sheet, line, row)
        if records is not None:
            yield line, records


def _records(kind: Kind, sheet: Sheet, line: int, row: Sequence[str]) -> Sequence[Record] | None:
    values: dict[str, object] = {}
    for (name, reader), text in zip(kind.readers.items(), row, strict=True):
        try:
            values[name] = reader(text)
        except ValueError as fault:
            sheet.faults.add(line, name, str(fault))
            return None
    try:
        return kind.records(values)
    except MissingError as fault:
        sheet.faults.add(line, fault.field, str(fault))
        return None


def _in_order(rows: Iterator[Row]) -> Iterator[Row]:
    """The rows as they stand, but placements by time: an earlier one has to end first."""
    later: list[tuple[int, Row]] = []
    for line, records in rows:
        first = records[0]
        if isinstance(first, Placement):
            later.append((first.since_ms, (line, records)))
        else:
            yield line, records
    yield from (row for _, row in sorted(later, key=lambda one: one[0]))


def _put(record: Record, book: Book, said: dict[Key, int], line: int) -> tuple[str, Record]:
    """Put what a row says; what was done, and the record as the book has it then.

    `said` has, by key, the line that spoke of the same record before.
    """
    stored = book.stored(record)
    if stored is not None:
        earlier = said.get(_known_by(stored))
        if earlier is not None:
            _refuse_contradiction(record, stored, earlier)
        record = _with_what_is_known(record, stored)
    done = book.put(record)
    known = book.stored(record) or record
    said.setdefault(_known_by(known), line)
    return done, known


def _known_by(record: Record) -> Key:
    table = TABLES[type(record)]
    return table.name, *table.key_of(record).values()


def _refuse_contradiction(record: Record, stored: Record, earlier: int) -> None:
    for name, value, known in _both(record, stored):
        if value is not None and known is not None and value != known:
            why = f"differs from line {earlier}, the same {label(record)}; keep one of the two"
            raise BadEntry(why, field=shown_field(name), why=why)


def _with_what_is_known(record: Record, stored: Record) -> Record:
    known: dict[str, Any] = {
        name: known
        for name, value, known in _both(record, stored)
        if value is None and known is not None
    }
    if isinstance(record, Meal) and isinstance(stored, Meal):
        known["meal"] = stored.meal
    return replace(record, **known) if known else record


def _both(record: Record, stored: Record) -> Iterator[tuple[str, Any, Any]]:
    for part in fields(record):
        if part.name != "meal":
            yield part.name, getattr(record, part.name), getattr(stored, part.name)
