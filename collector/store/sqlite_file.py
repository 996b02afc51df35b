"""Opening the store's SQLite files: one writer, any number of readers, faults in one line."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from collector.store.migrations import Schema, bring_up, version_of
from config.errors import StoreFault

READER_WAITS_S = 30.0
"""A reader waits only while a file is being made, recovered or closed: moments."""

_DAMAGED = "damaged ({}); keep a copy, then: warmcoil repair"


def open_for_writing(path: Path, schema: Schema, wait_s: float) -> sqlite3.Connection:
    """A connection that can write; the file is made or brought to this version first.

    Whoever writes already is waited for, up to `wait_s`. Raises StoreFault.
    """
    with speaking_of(path):
        path.parent.mkdir(exist_ok=True)
        connection = _connect(path, "rwc", wait_s)
    try:
        with speaking_of(path):
            version_of(connection, path, schema)  # refuses strangers before anything is touched
            connection.execute(f"PRAGMA page_size = {schema.page_bytes}")
            write_ahead(connection, wait_s)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            bring_up(connection, path, schema)
    except BaseException:
        connection.close()
        raise
    return connection


def open_for_reading(path: Path, schema: Schema) -> sqlite3.Connection | None:
    """A connection that cannot write; None when the file is not begun yet. Raises StoreFault.

    A file of an earlier version is brought up first: a reader of old tables would be lost.
    """
    connection, version = open_as_it_is(path, schema)
    if connection is None or version == schema.version:
        return connection
    connection.close()
    if version == 0:
        return None
    open_for_writing(path, schema, READER_WAITS_S).close()
    return open_for_reading(path, schema)


def open_as_it_is(path: Path, schema: Schema) -> tuple[sqlite3.Connection | None, int]:
    """A connection that cannot write, and the file's version; None and 0 when there is no file.

    Raises StoreFault.
    """
    if not path.exists():
        return None, 0
    with speaking_of(path):
        undo_half_done(path)
        connection = _connect(path, "ro", READER_WAITS_S)
    try:
        with speaking_of(path):
            return connection, version_of(connection, path, schema)
    except BaseException:
        connection.close()
        raise


@contextmanager
def speaking_of(path: Path) -> Iterator[None]:
    """Turn faults of SQLite and of the disk into a StoreFault: the file, and what to do."""
    try:
        yield
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError):
        raise  # our own mistake, not the disk's
    except sqlite3.DatabaseError as fault:
        raise StoreFault(f"{path}: {_told(fault)}") from fault
    except UnicodeDecodeError as fault:
        # SQLite quotes from a damaged schema in its message, which Python then cannot read.
        raise StoreFault(f"{path}: {_DAMAGED.format('what it holds is not text')}") from fault
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror or fault}") from fault


def undo_half_done(path: Path) -> None:
    """Undo what a power cut left half done while the file was being made: a reader may not.

    Only then has a file a rollback journal beside it. Raises what SQLite raises.
    """
    if path.with_name(f"{path.name}-journal").exists():
        with closing(sqlite3.connect(path, timeout=READER_WAITS_S)) as file:
            file.execute("SELECT count(*) FROM sqlite_schema").fetchone()


def is_busy(fault: sqlite3.Error) -> bool:
    """True when another process held the file for longer than the wait."""
    return getattr(fault, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
    )


class LiveFile:
    """A file read for long: opened when it appears, and anew when another took its place."""

    def __init__(self, path: Path, schema: Schema) -> None:
        self.path = path
        self._schema = schema
        self._connection: sqlite3.Connection | None = None
        self._identity: tuple[int, int] | None = None
        self.opened = 0
        """Counts the openings: what was remembered of an earlier file no longer holds."""

    def connection(self) -> sqlite3.Connection | None:
        """The file as it is now; None when it is not begun yet. Raises StoreFault."""
        identity = self._identity_now()
        if identity != self._identity:
            self.close()
        if self._connection is None and identity is not None:
            self._connection = open_for_reading(self.path, self._schema)
            self._identity = identity
            self.opened += 1
        return self._connection

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
        self._connection = self._identity = None

    def _identity_now(self) -> tuple[int, int] | None:
        try:
            now = self.path.stat()
        except FileNotFoundError:
            return None
        except OSError as fault:
            raise StoreFault(f"{self.path}: {fault.strerror}") from fault
        return now.st_dev, now.st_ino


def _connect(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    # Transactions are begun and ended by hand; whoever uses a connection holds a lock.
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=wait_s,
        isolation_level=None,
        check_same_thread=False,
    )


def write_ahead(connection: sqlite3.Connection, wait_s: float) -> None:
    """Put the file in WAL mode, waiting up to `wait_s` seconds for whoever holds it."""
    # SQLite does not wait by itself for a process that is just making the file.
    until_s = time.monotonic() + wait_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as fault:
            if not is_busy(fault) or time.monotonic() > until_s:
                raise
            time.sleep(0.02)
        else:
            return


def _told(fault: sqlite3.DatabaseError) -> str:
    code = getattr(fault, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return "the disk is full; make room"
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return f"cannot be opened as needed ({fault}); check who owns the folder and its files"
    if is_busy(fault):
        return "another process keeps it busy; try again in a moment"
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return _DAMAGED.format(fault)
    return f"cannot be read or written: {fault}"
