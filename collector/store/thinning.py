"""Days of raw readings become hours, a few in a transaction: killed anywhere, it goes on where it
was, and the end is the same.

A day's hours and the end of its block are one commit. The readings are read and reckoned with
before that, so that the lock is held for a moment only and sealing need not wait; a block that
changed meanwhile (readings came late) is left for the next run. The pages that become free are
used again by what is written later; the file does not get smaller.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from collector.readings import Quantity, SeriesKey
from collector.store.archive import ArchiveAway
from collector.store.check import in_day, name_of_day
from collector.store.hours import Hour, hours_of
from collector.store.migrations import ARCHIVE
from collector.store.sqlite_archive import Stored, put_hours
from collector.store.sqlite_file import is_busy, open_for_reading, open_for_writing, speaking_of
from config.errors import StoreFault

_WAIT_S = 30.0
_DAYS_AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class RawDay:
    """A block of the archive, known without reading it. `octets` is its length when packed."""

    series: int
    key: SeriesKey
    day: int
    count: int
    octets: int


@dataclass(slots=True)
class Thinned:
    """What became hours. `damaged` says in words which days could not be read, and stayed."""

    days: int = 0
    readings: int = 0
    octets: int = 0
    damaged: list[str] = field(default_factory=list)


def raw_days(archive: Path) -> list[RawDay]:
    """Every series and day that has raw readings. Raises StoreFault."""
    file = open_for_reading(archive, ARCHIVE)
    if file is None:
        return []
    try:
        with speaking_of(archive):
            rows = file.execute(
                "SELECT id, probe, quantity, day, count, length(packed) "
                "FROM block JOIN series ON id = series_id ORDER BY day, id"
            ).fetchall()
    finally:
        file.close()
    try:
        return [
            RawDay(number, SeriesKey(probe, Quantity(quantity)), *rest)
            for number, probe, quantity, *rest in rows
        ]
    except ValueError as fault:
        raise StoreFault(f"{archive}: its list of series is damaged: {fault}") from fault


def thin(
    archive: Path,
    days: Iterable[RawDay],
    gap_ms: float,
    stopping: Callable[[], bool] = lambda: False,
) -> Thinned:
    """Make hours of those days, until `stopping` says so; days that are hours already are none.

    Readings further apart than `gap_ms` are not joined by a line. Raises StoreFault, ArchiveAway
    when another process keeps the archive for long; what was done until then is done.
    """
    done, rest = Thinned(), iter(days)
    with speaking_of(archive):
        file = open_for_writing(archive, ARCHIVE, _WAIT_S)
        try:
            # What is freed need not be written over with zeros: that would double what is written.
            file.execute("PRAGMA secure_delete = OFF")
            while not stopping() and (some := list(islice(rest, _DAYS_AT_ONCE))):
                _thin_some(file, archive, some, gap_ms, done)
        finally:
            file.close()
    return done


def _thin_some(
    file: sqlite3.Connection, archive: Path, days: Sequence[RawDay], gap_ms: float, done: Thinned
) -> None:
    ready: list[tuple[RawDay, int, list[Hour]]] = []
    for one in days:
        row = file.execute(
            "SELECT day, crc32, packed FROM block WHERE series_id = ? AND day = ?",
            (one.series, one.day),
        ).fetchone()
        if row is None:
            continue
        stored = Stored(*row)
        try:
            columns = stored.columns()
        except StoreFault as fault:
            done.damaged.append(_damaged(one, str(fault)))
            continue
        if in_day(columns, one.day):
            ready.append((one, stored.crc32, hours_of(columns, gap_ms)))
        else:
            done.damaged.append(_damaged(one, "it holds readings of another day"))
    _begin(file, archive)
    try:
        for one, crc32, hours in ready:
            _replace(file, one, crc32, hours, done)
        file.execute("COMMIT")
    except BaseException:
        if file.in_transaction:
            file.execute("ROLLBACK")
        raise


def _begin(file: sqlite3.Connection, archive: Path) -> None:
    try:
        file.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as fault:
        if not is_busy(fault):
            raise
        raise ArchiveAway(f"{archive}: another process writes to it; try again") from fault


def _replace(
    file: sqlite3.Connection, one: RawDay, crc32: int, hours: Sequence[Hour], done: Thinned
) -> None:
    place = (one.series, one.day)
    now = file.execute(
        "SELECT crc32, count, length(packed) FROM block WHERE series_id = ? AND day = ?", place
    ).fetchone()
    if now is None or now[0] != crc32:
        return
    try:
        put_hours(file, *place, hours)
    except StoreFault as fault:
        done.damaged.append(_damaged(one, str(fault)))
        return
    file.execute("DELETE FROM block WHERE series_id = ? AND day = ?", place)
    done.days += 1
    done.readings += now[1]
    done.octets += now[2]


def _damaged(one: RawDay, fault: str) -> str:
    return f"{one.key.probe} {one.key.quantity}, {name_of_day(one.day)}: {fault}"
