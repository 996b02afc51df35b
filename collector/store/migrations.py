"""The schemas of journal and archive, and how a file of an earlier version is brought up.

A step commits together with its version number (`PRAGMA user_version`), so that a power cut in
the middle costs nothing. Steps are only ever added.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from collector.store.copying import keep_copy
from config.errors import StoreFault


@dataclass(frozen=True, slots=True)
class Schema:
    """A kind of file: what it is called, the mark it bears, its page size and its steps."""

    name: str
    application_id: int
    page_bytes: int
    steps: tuple[tuple[str, ...], ...]

    @property
    def version(self) -> int:
        """The version that this code reads and writes."""
        return len(self.steps)


JOURNAL = Schema(
    name="journal",
    application_id=0x5743_4A31,
    # A commit is about a hundred bytes, and every page it touches is written whole.
    page_bytes=512,
    steps=(
        (
            # A correction belongs to the series here: no reading has to repeat it.
            (
                "CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL, "
                "quantity TEXT NOT NULL, gain REAL NOT NULL, shift REAL NOT NULL, "
                "UNIQUE (probe, quantity, gain, shift)) STRICT"
            ),
            "CREATE TABLE entry (id INTEGER PRIMARY KEY, packed BLOB NOT NULL) STRICT",
        ),
    ),
)

ARCHIVE = Schema(
    name="archive",
    application_id=0x5743_4131,
    # A packed day is two to ten kilobytes and fills its last page by half, on average.
    page_bytes=1024,
    steps=(
        (
            (
                "CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL, "
                "quantity TEXT NOT NULL, UNIQUE (probe, quantity)) STRICT"
            ),
            (
                "CREATE TABLE block (series_id INTEGER NOT NULL REFERENCES series (id), "
                "day INTEGER NOT NULL, count INTEGER NOT NULL, first_ms INTEGER NOT NULL, "
                "last_ms INTEGER NOT NULL, crc32 INTEGER NOT NULL, packed BLOB NOT NULL, "
                "PRIMARY KEY (series_id, day)) STRICT, WITHOUT ROWID"
            ),
        ),
        (
            # What stays of a day that was thinned; `count` is of the readings it had.
            (
                "CREATE TABLE hours (series_id INTEGER NOT NULL REFERENCES series (id), "
                "day INTEGER NOT NULL, count INTEGER NOT NULL, crc32 INTEGER NOT NULL, "
                "packed BLOB NOT NULL, PRIMARY KEY (series_id, day)) STRICT, WITHOUT ROWID"
            ),
        ),
    ),
)


def version_of(connection: sqlite3.Connection, path: Path, schema: Schema) -> int:
    """The file's version, 0 when it is not begun.

    Raises StoreFault when it is another kind of file, or newer than this code.
    """
    # One statement, hence one state of the file, whoever is writing it.
    version, mark, tables = connection.execute(
        "SELECT v.user_version, a.application_id, (SELECT count(*) FROM sqlite_schema) "
        "FROM pragma_user_version v, pragma_application_id a"
    ).fetchone()
    if mark != schema.application_id and (mark or version or tables):
        raise StoreFault(f"{path}: an SQLite file, but not a {schema.name}; move it away")
    if version > schema.version:
        raise StoreFault(
            f"{path}: written by a newer Warmcoil ({schema.name} version {version}, this one "
            f"knows {schema.version}): install that version again, or restore a backup"
        )
    return int(version)


def bring_up(connection: sqlite3.Connection, path: Path, schema: Schema) -> None:
    """Take every step the file has not taken; before changing readings, keep a copy beside it."""
    version = version_of(connection, path, schema)
    for number in range(version + 1, schema.version + 1):
        _take(connection, path, schema, number, copied=number == version + 1 > 1)


def _take(
    connection: sqlite3.Connection, path: Path, schema: Schema, number: int, *, copied: bool
) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        if version_of(connection, path, schema) < number:  # else another process was quicker
            if copied:
                keep_copy(path, path.with_name(f"{path.name}.version-{number - 1}"))
            for statement in schema.steps[number - 1]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {schema.application_id}")
            connection.execute(f"PRAGMA user_version = {number}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
