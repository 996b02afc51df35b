"""Is the record book whole? Every fault in one line; nothing is changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC
from pathlib import Path

from collector.book import rules
from collector.book.book import Book
from collector.store.content_sums import sum_faults
from config.errors import StoreFault

_FAR_MS = 253_000_000_000_000
"""Late in the year 9987: no clock is past it."""


def check_book(path: Path) -> list[str]:
    """SQLite's own faults, and records that could not have been entered; none without a book."""
    if not path.exists():
        return []
    try:
        with Book(path, read_only=True) as book:
            return [f"{path.name}: {line}" for line in (*_pages(path), *_records(book))]
    except StoreFault as fault:
        return [str(fault)]
    except (sqlite3.DatabaseError, ValueError) as fault:
        return [f"{path.name}: cannot be read: {fault}"]


def _pages(path: Path) -> Iterator[str]:
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
    try:
        for (line,) in db.execute("PRAGMA integrity_check(20)"):
            if line != "ok":
                yield str(line)
        for table, row, parent, _ in db.execute("PRAGMA foreign_key_check"):
            yield f"{table} row {row} names something that {parent} does not have"
        yield from sum_faults(db)
    finally:
        db.close()


def _records(book: Book) -> Iterator[str]:
    lists = (
        book.enclosures(),
        book.animals(),
        book.stays(),
        book.placements(as_written=True),
        book.meals(),
        book.weighings(),
        book.handlings(),
        book.sheds(),
        book.looks(),
        book.droppings(),
        book.calibrations(),
    )
    for record in (one for records in lists for one in records):
        # Times to come are for whoever enters them to answer: a clock may have been wrong since.
        for objection in rules.objections(record, _FAR_MS):
            yield f"{rules.label(record, UTC)}, {objection.field}: {objection.why}"
