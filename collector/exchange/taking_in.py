"""Importing a CSV file: one transaction, all rows or none; the same file twice changes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from collector.book.book import Book
from collector.book.records import Animal, Record
from collector.exchange.kinds import KINDS, Kind, MissingError, known_of
from collector.exchange.readings_in import READINGS_COLUMNS, ReadingsFile
from collector.exchange.rows import Progress, Sheet, open_sheet
from collector.store.archive import Archive
from config.errors import BadEntry, Unusable
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of the rows of a file; every row counts once, `doubted` rows beside that."""

    kind: str
    rows: int
    added: int = 0
    changed: int = 0
    same: int = 0
    differing: int = 0
    doubted: int = 0

    def sentence(self) -> str:
        """One line for the keeper."""
        parts = [f"{self.rows} rows of {self.kind}: {self.added} new"]
        if self.changed:
            parts.append(f"{self.changed} changed (the versions before are kept)")
        parts.append(f"{self.same} there already")
        if self.differing:
            parts.append(f"{self.differing} there already with another value, which stays")
        if self.doubted:
            parts.append(f"{self.doubted} failed a plausibility check: kept, flagged, not used")
        return ", ".join(parts)


def import_file(
    kind: str,
    path: Path,
    *,
    book: Book,
    archive: Archive,
    settings: Settings,
    progress: Progress = lambda _done, _all: None,
) -> Imported:
    """Import a file of one kind. Raises BadRows naming the first bad rows, or Unusable; then
    nothing of it was taken.
    """
    if kind == "readings":
        return _import_readings(path, archive, settings, progress)
    if kind not in KINDS:
        raise Unusable(f"no kind {kind!r}; there are: readings, {', '.join(KINDS)}")
    with open_sheet(path, KINDS[kind].columns, progress) as sheet, book.transaction():
        counts = _put_rows(KINDS[kind], sheet, book)
        sheet.faults.raise_any()
    return Imported(kind, counts.total(), counts["added"], counts["changed"], counts["same"])


def _put_rows(kind: Kind, sheet: Sheet, book: Book) -> Counter[str]:
    counts: Counter[str] = Counter()
    for line, row in sheet:
        records = _records(kind, sheet, line, row)
        if records is None:
            continue
        try:
            counts[_put(records, book)] += 1
        except BadEntry as fault:
            sheet.faults.add(line, fault.field or "the row", fault.why or str(fault))
    return counts


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


def _put(records: Sequence[Record], book: Book) -> str:
    done = set()
    for record in records:
        one = known_of(record, book.stored(record)) if isinstance(record, Animal) else record
        done.add(book.put(one))
    return next(word for word in ("added", "changed", "same") if word in done)


def _import_readings(
    path: Path, archive: Archive, settings: Settings, progress: Progress
) -> Imported:
    with open_sheet(path, READINGS_COLUMNS, progress) as sheet:
        file = ReadingsFile()
        rows = file.read(sheet)
        sheet.faults.raise_any()
    sensors = {probe.id: probe.sensor for probe in settings.probe}
    batch = file.judged(sensors, settings.plausibility)
    written = archive.write(batch)
    doubted = sum(len(one) - one.flags.count(0) for one in batch.values())
    differing = written.differing + file.differing
    return Imported(
        "readings",
        rows,
        added=written.new,
        same=rows - written.new - differing,
        differing=differing,
        doubted=doubted,
    )
