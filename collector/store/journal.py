"""The journal: readings in the order they came, one packed row a commit, in an SQLite file.

SQLite writes ahead (WAL). A commit that is done outlives the process; one that is synced outlives
a power cut. With `synchronous` at FULL the write-ahead file is synced at the commit, and with it
all commits before; at NORMAL it is left to the system. So NORMAL is the rule, and FULL the
exception, often enough. (OFF would leave the file itself at risk when pages are moved into it.)
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from collector.readings import Correction, Quantity, Reading, SeriesKey
from collector.store.columns import Columns, Rows
from collector.store.entry import Receipt, Row, pack_entry, unpack_entry
from collector.store.migrations import JOURNAL
from collector.store.sqlite_file import open_for_writing, speaking_of
from collector.store.writer_lock import WriterLock
from config.errors import StoreFault

__all__ = ["Journal", "Receipt"]

log = logging.getLogger("collector")

Series = tuple[SeriesKey, Correction]


class Oldest(NamedTuple):
    """Rows of the journal: the ids of those that can be read, the last id of all, the readings."""

    ids: list[int]
    last_id: int
    columns: dict[SeriesKey, Columns]


_WAIT_S = 10.0
_WAL_PAGES = 8192
"""Pages (4 MB) after which SQLite moves them into the file by itself: only when sealing fails."""
_LOOKED_AT_EVERY_S = 1.0
"""How often `sync_due` is asked: so much early is not too late."""
_BYTES_AT_ONCE = 65_536
"""About 10,000 readings: as objects they take a MB or two."""


class Journal:
    """The one writer of the journal. May be used from several threads."""

    def __init__(
        self,
        path: Path,
        *,
        sync_seconds: float = 30.0,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """Open or make the file. Raises StoreFault when that fails or another writer has it."""
        self._path = path
        self._sync_s = sync_seconds
        self._monotonic = monotonic
        self._synced_s = self._committed_s = -1e18
        self._unsynced = False
        self._lock = threading.RLock()
        with speaking_of(path):
            path.parent.mkdir(exist_ok=True)
        self._writer = WriterLock(path)
        try:
            self._file = open_for_writing(path, JOURNAL, _WAIT_S)
            with speaking_of(path):
                self._file.execute("PRAGMA synchronous = NORMAL")
                self._file.execute(f"PRAGMA wal_autocheckpoint = {_WAL_PAGES}")
                self._numbers = {series: number for number, series in series_of(self._file)}
        except BaseException:
            self._writer.close()
            raise

    def commit(self, readings: Sequence[Reading], receipts: Sequence[Receipt] = ()) -> None:
        """Keep readings and receipts: all or none, safe from this process's death on return.

        Safe from a power cut no later than `sync_seconds` on, as long as this is called from
        time to time, be it with nothing. Raises StoreFault when nothing was kept, ValueError for
        a value that is not finite.
        """
        with self._lock, speaking_of(self._path):
            now_s = self._monotonic()
            due = self._sync_due(now_s)
            if readings or receipts:
                self._write(readings, receipts, synced=due)
                self._unsynced = not due
            elif due:
                self._sync()
            self._committed_s = now_s
            if due:
                self._synced_s = now_s

    def sync_due(self) -> bool:
        """True when commits wait for a sync that must not wait for the next commit."""
        with self._lock:
            waited_s = self._monotonic() - self._synced_s
            return self._unsynced and waited_s >= self._sync_s - _LOOKED_AT_EVERY_S

    def receipts(self) -> set[Receipt]:
        """The receipts of the rows still held. Raises StoreFault."""
        with self._lock, speaking_of(self._path):
            packed = self._file.execute("SELECT id, packed FROM entry").fetchall()
        return {one for _, _, receipts in self._readable(packed) for one in receipts}

    def oldest(self, *, after_id: int, keep: int) -> Oldest | None:
        """The next rows after `after_id`, but none of the newest `keep`; None without any.

        Some thousands of readings at once. A damaged row is passed over, and stays. Raises
        StoreFault.
        """
        with self._lock, speaking_of(self._path):
            packed = list(
                some_rows(
                    self._file.execute(
                        "SELECT id, packed FROM entry WHERE id > ? AND id <= "
                        "(SELECT max(id) FROM entry) - ? ORDER BY id",
                        (after_id, keep),
                    )
                )
            )
            by_number = dict(series_of(self._file))
        if not packed:
            return None
        entries = list(self._readable(packed))
        rows = [row for _, rows, _ in entries for row in rows]
        return Oldest(
            [number for number, _, _ in entries], packed[-1][0], by_series(rows, by_number)
        )

    def forget(self, ids: Iterable[int]) -> None:
        """Delete rows that are safe in the archive. The newest is never one of them.

        Ids of rows so never come again, by which a reader knows what it has read. Raises
        StoreFault.
        """
        with self._lock, speaking_of(self._path):
            with self._transaction():
                self._file.executemany(
                    "DELETE FROM entry WHERE id = ? AND id < (SELECT max(id) FROM entry)",
                    [(number,) for number in ids],
                )
            self._move_into_file()

    def close(self) -> None:
        """Sync, and let go of the file. Closing again does nothing."""
        with self._lock:
            try:
                with speaking_of(self._path):
                    self._sync()
            finally:
                self._file.close()
                self._writer.close()

    def _sync_due(self, now_s: float) -> bool:
        # Half the usual pause early: the next commit might come a moment too late.
        pause_s = min(now_s - self._committed_s, self._sync_s)
        return now_s - self._synced_s >= self._sync_s - pause_s / 2

    def _write(
        self, readings: Sequence[Reading], receipts: Sequence[Receipt], *, synced: bool
    ) -> None:
        if synced:
            self._file.execute("PRAGMA synchronous = FULL")
        numbers = dict(self._numbers)
        try:
            with self._transaction():
                rows = [self._row(one, numbers) for one in readings]
                packed = pack_entry(rows, receipts)
                self._file.execute("INSERT INTO entry (packed) VALUES (?)", (packed,))
        finally:
            self._file.execute("PRAGMA synchronous = NORMAL")
        self._numbers = numbers

    def _row(self, one: Reading, numbers: dict[Series, int]) -> Row:
        series = (one.key, one.correction)
        number = numbers.get(series)
        if number is None:
            number = numbers[series] = self._new_series(*series)
        return Row(number, one.at_ms, one.raw, int(one.flags))

    def _new_series(self, key: SeriesKey, correction: Correction) -> int:
        cursor = self._file.execute(
            "INSERT INTO series (probe, quantity, gain, shift) VALUES (?, ?, ?, ?)",
            (key.probe, key.quantity.value, correction.gain, correction.offset),
        )
        if cursor.lastrowid is None:
            raise StoreFault(f"{self._path}: no number for series {key}")
        return cursor.lastrowid

    def _sync(self) -> None:
        """Sync commits that were made unsynced, without a further one."""
        if not self._unsynced:
            return
        ahead = os.open(f"{self._path}-wal", os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(ahead)
        finally:
            os.close(ahead)
        self._unsynced = False

    def _move_into_file(self) -> None:
        # Syncs the write-ahead file first, then the file itself. Readers are not disturbed.
        self._file.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    def _readable(
        self, packed: Iterable[tuple[int, bytes]]
    ) -> Iterator[tuple[int, list[Row], list[Receipt]]]:
        for number, octets in packed:
            try:
                yield number, *unpack_entry(octets)
            except StoreFault as fault:
                log.warning("%s: row %d: %s; run: warmcoil check", self._path, number, fault)

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._file.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._file.execute("COMMIT")
        except BaseException:
            if self._file.in_transaction:
                self._file.execute("ROLLBACK")
            raise


def some_rows(cursor: Iterable[tuple[int, bytes]]) -> Iterator[tuple[int, bytes]]:
    """The first rows of a query, as many as are well held in memory at once; one at least."""
    size = 0
    for number, packed in cursor:
        yield number, packed
        size += len(packed)
        if size >= _BYTES_AT_ONCE:
            return


def series_of(connection: sqlite3.Connection) -> list[tuple[int, Series]]:
    """The numbered series of a journal. Raises StoreFault for a quantity nobody knows."""
    rows = connection.execute("SELECT id, probe, quantity, gain, shift FROM series").fetchall()
    try:
        return [
            (number, (SeriesKey(probe, Quantity(quantity)), Correction(gain, shift)))
            for number, probe, quantity, gain, shift in rows
        ]
    except ValueError as fault:
        raise StoreFault(f"the journal's list of series is damaged: {fault}") from fault


def by_series(rows: Iterable[Row], series: dict[int, Series]) -> dict[SeriesKey, Columns]:
    """Rows of the journal as columns. Raises StoreFault for a number that names no series."""
    gathered = Rows()
    for row in rows:
        if row.series not in series:
            raise StoreFault(f"the journal has readings of series {row.series}, and no such series")
        key, correction = series[row.series]
        gathered.add(key, row.at_ms, row.raw, row.flags, correction)
    return gathered.columns()
