"""Is the store whole? Every fault in one line; nothing is changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from collector.readings import Quantity
from collector.store.columns import DAY_MS, Columns
from collector.store.entry import unpack_entry
from collector.store.hours import count_of
from collector.store.migrations import ARCHIVE, JOURNAL, Schema
from collector.store.sqlite_archive import Stored, StoredHours
from collector.store.sqlite_file import open_as_it_is, speaking_of
from config.errors import StoreFault

_MOST_OF_SQLITE = 20


def check(journal: Path, archive: Path) -> list[str]:
    """The faults of both files, one line each; a file that does not exist has none."""
    return check_journal(journal) + check_archive(archive)


def check_journal(path: Path) -> list[str]:
    """The faults of a journal: SQLite's own, and every row that does not decode."""
    return _check_file(path, JOURNAL, _journal_faults)


def check_archive(path: Path) -> list[str]:
    """The faults of an archive: SQLite's own, and every block that is not what it should be."""
    return _check_file(path, ARCHIVE, _archive_faults)


def name_of_day(day: object) -> str:
    """A day number as a date; damage can make anything of one."""
    if not isinstance(day, int):
        return "a day that cannot be told"
    try:
        return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day)).date().isoformat()
    except OverflowError:
        return f"day {day} since 1970"


def block_fault(stored: Stored, count: int, first_ms: int, last_ms: int) -> str | None:
    """What is wrong with a block, given what its row says of it."""
    try:
        columns = stored.columns()
    except StoreFault as fault:
        return str(fault)
    if (len(columns), columns.at_ms[0], columns.at_ms[-1]) != (count, first_ms, last_ms):
        return "its count, first or last time is not that of its readings"
    if not in_day(columns, stored.day):
        return "it holds readings of another day"
    return None


def hours_fault(stored: StoredHours, count: int) -> str | None:
    """What is wrong with a thinned day, given what its row says of it."""
    try:
        hours = stored.hours()
    except StoreFault as fault:
        return str(fault)
    if any(hour.start_ms // DAY_MS != stored.day for hour in hours):
        return "it holds hours of another day"
    return "its count is not that of its hours" if count_of(hours) != count else None


def in_day(columns: Columns, day: int) -> bool:
    """True when all readings are of that UTC day."""
    return columns.at_ms[0] // DAY_MS == day == columns.at_ms[-1] // DAY_MS


def _check_file(
    path: Path, schema: Schema, faults: Callable[[sqlite3.Connection], Iterable[str]]
) -> list[str]:
    found: list[str] = []
    try:
        file, version = open_as_it_is(path, schema)
        if file is None:
            return found
        with closing(file), speaking_of(path):
            if 0 < version < schema.version:
                return [f"{path}: of an earlier version; start the collector to bring it up"]
            file.execute("BEGIN")  # one state of the file, while others write
            found += _sqlite_faults(file, path)
            if version:
                found += (f"{path}: {fault}" for fault in faults(file))
    except StoreFault as fault:
        found.append(str(fault))
    return found


def _sqlite_faults(file: sqlite3.Connection, path: Path) -> list[str]:
    rows = file.execute(f"PRAGMA integrity_check({_MOST_OF_SQLITE})").fetchall()
    lines = [line for (text,) in rows for line in text.splitlines() if text != "ok"]
    return [f"{path}: SQLite says: {line}" for line in lines]


def _journal_faults(file: sqlite3.Connection) -> Iterator[str]:
    rows = file.execute("SELECT id, quantity FROM series").fetchall()
    yield from _unknown_quantities(rows)
    known = {number for number, _ in rows}
    for number, packed in file.execute("SELECT id, packed FROM entry"):
        try:
            readings, _ = unpack_entry(packed)
        except StoreFault as fault:
            yield f"row {number}: {fault}"
            continue
        for strange in {row.series for row in readings} - known:
            yield f"row {number}: readings of series {strange}, which is not listed"


def _archive_faults(file: sqlite3.Connection) -> Iterator[str]:
    yield from _unknown_quantities(file.execute("SELECT id, quantity FROM series").fetchall())
    blocks = file.execute(
        "SELECT probe, quantity, series_id, day, crc32, packed, count, first_ms, last_ms "
        "FROM block LEFT JOIN series ON id = series_id"
    )
    for probe, quantity, number, day, crc32, packed, *rest in blocks:
        fault = block_fault(Stored(day, crc32, packed), *rest)
        yield from _told(probe, quantity, number, day, fault)
    thinned = file.execute(
        "SELECT probe, quantity, series_id, day, crc32, packed, count "
        "FROM hours LEFT JOIN series ON id = series_id"
    )
    for probe, quantity, number, day, crc32, packed, count in thinned:
        fault = hours_fault(StoredHours(day, crc32, packed), count)
        yield from _told(probe, quantity, number, day, fault)


def _told(
    probe: str | None, quantity: str, number: object, day: object, fault: str | None
) -> Iterator[str]:
    name = f"series {number}, which is not listed" if probe is None else f"{probe} {quantity}"
    if fault or probe is None:
        yield f"{name}, {name_of_day(day)}: {fault or 'nobody knows whose it is'}"


def _unknown_quantities(rows: Iterable[tuple[int, str]]) -> Iterator[str]:
    known = {quantity.value for quantity in Quantity}
    for number, quantity in rows:
        if quantity not in known:
            yield f"series {number}: {quantity!r} is no quantity"
