"""The file `alarms.db`: opening it, bringing it to this version, transactions, faults of the disk.

Two processes write it: the watch (states and messages) and the delivery (what was delivered).
Both keep their transactions short.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analysis.watch.schema import APPLICATION_ID, STEPS
from collector.store.content_sums import keep_sums, renew_sums
from collector.store.copying import keep_copy
from config.errors import StoreFault

WAIT_SECONDS = 10.0
"""How long one writer waits for the other."""
_MOVE_IT_AWAY = "move it away: the watch then starts without its past alarms"


def open_alarms(path: Path) -> sqlite3.Connection:
    """Open the file, made or brought to this version first.

    Raises StoreFault when it cannot be used, is not ours, or was written by a newer Warmcoil.
    """
    with speaking_of(path):
        # Used by one thread at a time: opened by the main one, worked with by that of the jobs.
        connection = sqlite3.connect(
            path, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False
        )
    try:
        with speaking_of(path):
            connection.row_factory = sqlite3.Row
            version_of(connection, path)  # refuses strangers before anything is touched
            connection.execute("PRAGMA page_size = 1024")  # of a new file: little is written
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA cache_size = -256")  # KiB: the file is small
            _upgrade(connection, path)
            keep_sums(connection)
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All or none."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


@contextmanager
def speaking_of(path: Path) -> Iterator[None]:
    """Turn SQLite's faults into a StoreFault that names the file and what to do."""
    try:
        yield
    except sqlite3.DatabaseError as fault:
        if isinstance(fault, sqlite3.IntegrityError | sqlite3.ProgrammingError):
            raise  # ours, not the disk's
        raise StoreFault(f"{path}: {fault}; {_what_to_do(fault)}") from fault
    except UnicodeDecodeError as fault:  # a damaged schema, quoted in SQLite's own message
        raise StoreFault(f"{path}: damaged; {_MOVE_IT_AWAY}") from fault
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror or fault}") from fault


def _what_to_do(fault: sqlite3.DatabaseError) -> str:
    known = {
        sqlite3.SQLITE_FULL: "make room on the disk",
        sqlite3.SQLITE_BUSY: "another process has held it for too long; it is tried again",
        sqlite3.SQLITE_CORRUPT: _MOVE_IT_AWAY,
        sqlite3.SQLITE_NOTADB: _MOVE_IT_AWAY,
    }
    code = getattr(fault, "sqlite_errorcode", 0) & 0xFF  # the primary code
    return known.get(code, "see that the folder and the file can be written")


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The file's version, 0 when it is not begun.

    Raises StoreFault when it is another kind of file, or newer than this code.
    """
    version = _version(connection)
    if version > len(STEPS):
        raise StoreFault(
            f"{path}: written by a newer Warmcoil (alarm file version {version}, this one knows "
            f"{len(STEPS)}): install that version again, or move the file away"
        )
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if mark != APPLICATION_ID and (tables or version):
        raise StoreFault(f"{path}: an SQLite file, but not an alarm file; move it away")
    return version


def _upgrade(connection: sqlite3.Connection, path: Path) -> None:
    for number, step in enumerate(STEPS, start=1):
        if _version(connection) < number:
            _take(connection, path, number, step)


def _take(connection: sqlite3.Connection, path: Path, number: int, step: tuple[str, ...]) -> None:
    """One step and its number in one transaction, after a copy of the file as it was."""
    with transaction(connection):
        if _version(connection) >= number:
            return  # the other process was faster
        if number > 1:
            keep_copy(path, path.with_name(f"{path.name}.version-{number - 1}"))
        for statement in step:
            connection.execute(statement)
        renew_sums(connection)
        connection.execute(f"PRAGMA user_version = {number}")
