"""The archive in an SQLite file: one packed block for every series and UTC day.

Of a day that was thinned (see `thinning`) there are hours in the place of a block; where readings
came for it later, both.

A write merges with the day's block, so the order in which readings come does not matter. Blocks
are written anew as a whole; readers see the old or the new one.
"""

from __future__ import annotations

import sqlite3
import threading
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

from collector.readings import Quantity, SeriesKey
from collector.store.archive import ArchiveAway, Span, Written
from collector.store.codec import pack, unpack
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import Hour, count_of, merged, pack_hours, unpack_hours
from collector.store.migrations import ARCHIVE
from collector.store.sqlite_file import LiveFile, is_busy, open_for_writing, speaking_of
from config.errors import StoreFault

_WAIT_S = 5.0


class Stored(NamedTuple):
    """One day of a series as it stands in the file."""

    day: int
    crc32: int
    packed: bytes

    def columns(self) -> Columns:
        """Its readings. Raises StoreFault when it is damaged."""
        self.verify()
        return unpack(self.packed)

    def verify(self) -> None:
        """Raise StoreFault when a byte of it has changed."""
        _verify(self.packed, self.crc32, "a damaged block: its checksum does not fit")


class StoredHours(NamedTuple):
    """One thinned day of a series as it stands in the file."""

    day: int
    crc32: int
    packed: bytes

    def hours(self) -> list[Hour]:
        """Its hours. Raises StoreFault when they are damaged."""
        _verify(self.packed, self.crc32, "damaged hours: their checksum does not fit")
        return unpack_hours(self.packed)


class SqliteArchive:
    """An `Archive` in a file. Opened for reading only, a file not yet made is an empty archive.

    May be used from several threads.
    """

    def __init__(self, path: Path, *, read_only: bool = False, wait_s: float = _WAIT_S) -> None:
        """Open or make the file; a write waits `wait_s` for another writer. Raises StoreFault."""
        self._path = path
        self._lock = threading.RLock()
        self._file = LiveFile(path, ARCHIVE)
        self._writer = None if read_only else open_for_writing(path, ARCHIVE, wait_s)

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """See `Archive.write`. Raises ValueError for readings out of order or not finite."""
        if self._writer is None:
            raise StoreFault(f"{self._path}: opened for reading only")
        written = Written()
        with self._lock, speaking_of(self._path), self._transaction(self._writer) as file:
            for key, columns in batch.items():
                number = _number_of(file, key) if columns else 0
                for day, part in columns.days():
                    self._write_day(file, number, day, part, written)
        return written

    def write_hours(self, key: SeriesKey, hours: Sequence[Hour]) -> None:
        """Keep hours, in order, for good on return; those that are there are merged with them.

        Raises like `write`.
        """
        if self._writer is None:
            raise StoreFault(f"{self._path}: opened for reading only")
        with self._lock, speaking_of(self._path), self._transaction(self._writer) as file:
            number = _number_of(file, key)
            for day, part in groupby(hours, key=lambda hour: hour.start_ms // DAY_MS):
                with self._saying(key):
                    put_hours(file, number, day, list(part))

    def series(self) -> dict[SeriesKey, Span]:
        """See `Archive.series`."""
        rows = self._rows(
            "SELECT probe, quantity, sum(raw), min(first_ms), max(last_ms), sum(thinned) FROM ("
            "SELECT series_id, count AS raw, 0 AS thinned, first_ms, last_ms FROM block UNION ALL "
            "SELECT series_id, 0, count, day * ?1, (day + 1) * ?1 - 1 FROM hours"
            ") JOIN series ON series.id = series_id GROUP BY series.id",
            (DAY_MS,),
        )
        return {self._key(probe, quantity): Span(*span) for probe, quantity, *span in rows}

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """See `Archive.columns`. Raises StoreFault when a block in the window is damaged."""
        with self._saying(key):
            days = [one.columns() for one in self.stored(key, start_ms, end_ms)]
        return Columns.joined(days).cut(start_ms, end_ms)

    def stored(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Stored]:
        """The blocks that reach into [start_ms, end_ms), undecoded and unverified."""
        if start_ms >= end_ms:
            return []
        rows = self._rows(
            # A watch asks for the last minutes, of which the archive as a rule has none yet.
            "SELECT day, crc32, packed FROM block WHERE day BETWEEN ? AND ? AND last_ms >= ? "
            "AND series_id = (SELECT id FROM series WHERE probe = ? AND quantity = ?) ORDER BY day",
            (start_ms // DAY_MS, (end_ms - 1) // DAY_MS, start_ms, key.probe, key.quantity.value),
        )
        return [Stored(*row) for row in rows]

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms) of days that were thinned, in order.

        Raises StoreFault when some are damaged.
        """
        with self._saying(key):
            days = [one.hours() for one in self.stored_hours(key, start_ms, end_ms)]
        return [hour for day in days for hour in day if start_ms <= hour.start_ms < end_ms]

    def stored_hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[StoredHours]:
        """The thinned days that reach into [start_ms, end_ms), undecoded and unverified."""
        if start_ms >= end_ms:
            return []
        rows = self._rows(
            "SELECT day, crc32, packed FROM hours WHERE day BETWEEN ? AND ? "
            "AND series_id = (SELECT id FROM series WHERE probe = ? AND quantity = ?) ORDER BY day",
            (start_ms // DAY_MS, (end_ms - 1) // DAY_MS, key.probe, key.quantity.value),
        )
        return [StoredHours(*row) for row in rows]

    def checksums(self) -> dict[SeriesKey, tuple[list[int], list[int]]]:
        """Of every series the days that have a block, in order, and the blocks' checksums."""
        found: dict[SeriesKey, tuple[list[int], list[int]]] = {}
        for number, probe, quantity in self._rows("SELECT id, probe, quantity FROM series"):
            rows = self._rows(
                "SELECT day, crc32 FROM block WHERE series_id = ? ORDER BY day", (number,)
            )
            found[self._key(probe, quantity)] = (
                [day for day, _ in rows],
                [crc32 for _, crc32 in rows],
            )
        return found

    def last_times(self) -> dict[SeriesKey, int]:
        """The time of the newest reading of every series in ms, without decoding anything."""
        rows = self._rows(
            # Series by series: joined, SQLite would look at every block there is.
            "SELECT probe, quantity, (SELECT last_ms FROM block WHERE series_id = id "
            "ORDER BY day DESC LIMIT 1) AS newest_ms FROM series WHERE newest_ms IS NOT NULL"
        )
        return {self._key(probe, quantity): newest_ms for probe, quantity, newest_ms in rows}

    def last_day(self, key: SeriesKey, before_day: int) -> Stored | None:
        """The newest block of a series before a day."""
        rows = self._rows(
            "SELECT day, crc32, packed FROM block WHERE day < ? AND series_id = "
            "(SELECT id FROM series WHERE probe = ? AND quantity = ?) ORDER BY day DESC LIMIT 1",
            (before_day, key.probe, key.quantity.value),
        )
        return Stored(*rows[0]) if rows else None

    def close(self) -> None:
        """Let go of the file. Closing again does nothing."""
        with self._lock:
            self._file.close()
            if self._writer is not None:
                self._writer.close()

    def _write_day(
        self, file: sqlite3.Connection, number: int, day: int, part: Columns, written: Written
    ) -> None:
        row = file.execute(
            "SELECT day, crc32, packed FROM block WHERE series_id = ? AND day = ?", (number, day)
        ).fetchone()
        if row is not None:
            with self._saying(number):
                kept = Stored(*row).columns()
            fresh = part.without(kept)
            differing = kept.differing(part) if len(fresh) < len(part) else 0
            written.known += len(part) - len(fresh) - differing
            written.differing += differing
            part = kept.merged(fresh) if fresh else Columns()
            written.new += len(fresh)
        else:
            written.new += len(part)
        if part:
            _put(file, number, day, part)

    def _rows(self, query: str, values: tuple[int | str, ...] = ()) -> list[tuple[Any, ...]]:
        with self._lock, speaking_of(self._path):
            file = self._writer or self._file.connection()
            return [] if file is None else file.execute(query, values).fetchall()

    def _key(self, probe: str, quantity: str) -> SeriesKey:
        try:
            return SeriesKey(probe, Quantity(quantity))
        except ValueError as fault:
            raise StoreFault(f"{self._path}: its list of series is damaged: {fault}") from fault

    @contextmanager
    def _saying(self, series: object) -> Iterator[None]:
        try:
            yield
        except StoreFault as fault:
            raise StoreFault(
                f"{self._path}: series {series}: {fault}; keep a copy, then: warmcoil repair"
            ) from fault

    @contextmanager
    def _transaction(self, file: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
        try:
            file.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as fault:
            if not is_busy(fault):
                raise
            raise ArchiveAway(f"{self._path}: another process writes to it; try again") from fault
        try:
            yield file
            file.execute("COMMIT")
        except BaseException:
            if file.in_transaction:
                file.execute("ROLLBACK")
            raise


def put_hours(file: sqlite3.Connection, number: int, day: int, hours: Sequence[Hour]) -> None:
    """Merge hours of a day with those in the file, within the caller's transaction.

    Raises StoreFault when those in the file are damaged.
    """
    row = file.execute(
        "SELECT day, crc32, packed FROM hours WHERE series_id = ? AND day = ?", (number, day)
    ).fetchone()
    whole = merged(StoredHours(*row).hours(), hours) if row is not None else hours
    packed = pack_hours(whole)
    file.execute(
        "INSERT OR REPLACE INTO hours VALUES (?, ?, ?, ?, ?)",
        (number, day, count_of(whole), zlib.crc32(packed), packed),
    )


def _verify(packed: bytes, crc32: int, otherwise: str) -> None:
    try:
        fits = zlib.crc32(packed) == crc32
    except TypeError:
        fits = False  # a damaged page can make anything of a column
    if not fits:
        raise StoreFault(otherwise)


def _number_of(file: sqlite3.Connection, key: SeriesKey) -> int:
    names = (key.probe, key.quantity.value)
    find = "SELECT id FROM series WHERE probe = ? AND quantity = ?"
    row = file.execute(find, names).fetchone()
    if row is None:
        file.execute("INSERT INTO series (probe, quantity) VALUES (?, ?)", names)
        row = file.execute(find, names).fetchone()
    return int(row[0])


def _put(file: sqlite3.Connection, number: int, day: int, columns: Columns) -> None:
    packed = pack(columns)
    file.execute(
        "INSERT OR REPLACE INTO block VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            number, day, len(columns), columns.at_ms[0], columns.at_ms[-1],
            zlib.crc32(packed), packed,
        ),
    )  # fmt: skip
