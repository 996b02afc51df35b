"""What the journal holds just now, read by another process and kept up to date."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from collector.readings import SeriesKey
from collector.store.columns import Columns
from collector.store.entry import Row, unpack_entry
from collector.store.journal import by_series, series_of, some_rows
from collector.store.migrations import JOURNAL
from collector.store.sqlite_file import LiveFile, speaking_of
from config.errors import StoreFault

log = logging.getLogger("store")


class Tail:
    """The journal's readings by series. Only new rows are read each time."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file = LiveFile(path, JOURNAL)
        self._version = self._opened = -1
        self._columns: dict[SeriesKey, Columns] = {}
        self._first_id = self._last_id = 0
        self.forgotten = 0
        """Counts how often rows were let go of: they are in the archive since."""

    def columns(self) -> dict[SeriesKey, Columns]:
        """All that is committed and not sealed yet; not to be altered. Raises StoreFault.

        A damaged row is passed over, and said in the log.
        """
        with speaking_of(self._path):
            file = self._file.connection()
            if file is None:
                self._forget()
            elif self._changed(file):
                self._read(file)
        return self._columns

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _changed(self, file: sqlite3.Connection) -> bool:
        if self._opened != self._file.opened:
            self._forget()
        (version,) = file.execute("PRAGMA data_version").fetchone()
        changed = (self._opened, self._version) != (self._file.opened, version)
        self._opened, self._version = self._file.opened, version
        return changed

    def _read(self, file: sqlite3.Connection) -> None:
        try:
            file.execute("BEGIN")
            held = "SELECT 1 FROM entry WHERE id = ?"
            if self._first_id and not file.execute(held, (self._first_id,)).fetchone():
                self._forget()  # rows were sealed, the oldest first: let them go here too
            series = dict(series_of(file))
            last_id = -1
            while last_id != self._last_id:
                last_id = self._last_id
                for key, more in by_series(self._next_rows(file), series).items():
                    self._columns[key] = self._columns.get(key, Columns()).merged(more)
        except BaseException:
            self._version = -1
            self._forget()
            raise
        finally:
            if file.in_transaction:
                file.execute("COMMIT")

    def _next_rows(self, file: sqlite3.Connection) -> Iterator[Row]:
        query = "SELECT id, packed FROM entry WHERE id > ? ORDER BY id"
        for number, packed in some_rows(file.execute(query, (self._last_id,))):
            self._last_id = number
            try:
                rows, _ = unpack_entry(packed)
            except StoreFault as fault:
                log.warning("%s: row %d: %s; run: warmcoil check", self._path, number, fault)
            else:
                self._first_id = self._first_id or number
                yield from rows

    def _forget(self) -> None:
        self.forgotten += 1
        self._columns = {}
        self._first_id = self._last_id = 0
