"""The book's file: opening it, bringing it to this version, and faults of the disk in one line."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from collector.book.schema import APPLICATION_ID, STEPS
from collector.store.content_sums import keep_sums, renew_sums
from collector.store.copying import keep_copy
from collector.store.sqlite_file import undo_half_done, write_ahead
from config.errors import StoreFault

VERSION = len(STEPS)
"""The schema version that this code reads and writes."""
WAIT_SECONDS = 10.0
"""How long a writer waits for another one."""


def open_for_writing(path: Path) -> sqlite3.Connection:
    """A connection that can write, the file made or brought to this version first.

    Raises StoreFault when it cannot be opened, is no book, or is newer than this code.
    """
    with speaking_of(path):
        connection = sqlite3.connect(path, timeout=WAIT_SECONDS, isolation_level=None)
    try:
        with speaking_of(path):
            _refuse_strangers(connection, path)  # before anything is touched
            _prepare(connection)
            _upgrade(connection, path)
            keep_sums(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def open_for_reading(path: Path) -> sqlite3.Connection:
    """A connection that can only read. A book not yet begun reads as an empty one.

    An older book is brought to this version first, as a reader of the old tables would be lost.
    """
    if not path.exists():
        return _empty()
    connection = _reader(path)
    if _version(connection) < VERSION:
        connection.close()
        open_for_writing(path).close()
        connection = _reader(path)
    return connection


@contextmanager
def speaking_of(path: Path) -> Iterator[None]:
    """Turn faults of SQLite and the disk into a StoreFault that names the file and what to do."""
    try:
        yield
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError):
        raise  # our own mistake, not the disk's
    except sqlite3.DatabaseError as fault:
        raise StoreFault(f"{path}: {_what_happened(fault)}") from fault
    except UnicodeDecodeError as fault:  # a damaged schema, quoted in SQLite's own message
        raise StoreFault(f"{path}: {_WORDS['SQLITE_CORRUPT']}") from fault
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror or fault}") from fault


def _reader(path: Path) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode=ro"
    with speaking_of(path):
        undo_half_done(path)
        connection = sqlite3.connect(uri, uri=True, timeout=WAIT_SECONDS, isolation_level=None)
    try:
        with speaking_of(path):
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA query_only = ON")
            _refuse_strangers(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def _empty() -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.row_factory = sqlite3.Row
    for step in STEPS:
        for statement in step:
            connection.execute(statement)
    connection.execute("PRAGMA query_only = ON")
    return connection


def _prepare(connection: sqlite3.Connection) -> None:
    connection.row_factory = sqlite3.Row
    write_ahead(connection, WAIT_SECONDS)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _refuse_strangers(connection: sqlite3.Connection, path: Path) -> None:
    # One statement, hence one state of the file, whoever is making it just now.
    version, mark, tables = connection.execute(
        "SELECT v.user_version, a.application_id, (SELECT count(*) FROM sqlite_schema) "
        "FROM pragma_user_version v, pragma_application_id a"
    ).fetchone()
    if mark != APPLICATION_ID and (mark or tables or version):
        raise StoreFault(f"{path}: an SQLite file, but not a record book; move it away")
    if version > VERSION:
        raise StoreFault(
            f"{path}: written by a newer Warmcoil (book version {version}, this one knows "
            f"{VERSION}): install that version again, or restore a backup"
        )


def _upgrade(connection: sqlite3.Connection, path: Path) -> None:
    found = _version(connection)
    for number, step in enumerate(STEPS, start=1):
        if _version(connection) < number:
            _take(connection, path, number, step, copied=found > 0)


def _take(
    connection: sqlite3.Connection, path: Path, number: int, step: tuple[str, ...], *, copied: bool
) -> None:
    """One step and its version number in one transaction, after a copy of the book as it was.

    A book just begun has nothing to copy.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        if _version(connection) == number - 1:  # else another process was faster
            if copied:
                keep_copy(path, path.with_name(f"{path.name}.before-{number}"))
            for statement in step:
                connection.execute(statement)
            renew_sums(connection)
            connection.execute(f"PRAGMA user_version = {number:d}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _what_happened(fault: sqlite3.DatabaseError) -> str:
    name = getattr(fault, "sqlite_errorname", "")
    for start, text in _WORDS.items():
        if name.startswith(start):
            return text
    return str(fault)


_WORDS = {
    "SQLITE_BUSY": f"another command has been writing for {WAIT_SECONDS:.0f} s; try again",
    "SQLITE_FULL": "the disk is full; make room and try again",
    "SQLITE_READONLY": "may not be written here; check who owns the file and its folder",
    "SQLITE_CANTOPEN": "cannot be opened; check that the folder exists and who owns it",
    "SQLITE_NOTADB": "not a record book, or damaged; restore a backup",
    "SQLITE_CORRUPT": "damaged; restore a backup",
    "SQLITE_IOERR": "the disk failed while reading or writing; check the card or disk",
}
