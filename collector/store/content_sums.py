"""A sum over the rows of every table, kept in the file itself, so that a byte that has turned over
in it is seen: SQLite looks whether its pages hang together, not whether they say what was written.

Triggers of the connection alone keep the sums, in the transaction of the change: the sum of a table
is that of a hash of every row, so a row is added or taken away without looking at the others.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator, Sequence

STEP = (
    """CREATE TABLE content_sum (
        name TEXT PRIMARY KEY NOT NULL,
        value INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
)
"""The step of a schema from which on its file has sums."""

_WRAP = 1 << 63


def keep_sums(connection: sqlite3.Connection) -> None:
    """From now on whatever is written through this connection goes into the sums, if there are."""
    if not _has_sums(connection):
        return
    connection.create_function("summed", -1, _summed, deterministic=True)
    for table, columns in _tables(connection):
        changes: dict[str, tuple[tuple[int, str], ...]] = {
            "INSERT": ((1, "NEW"),),
            "DELETE": ((-1, "OLD"),),
        }
        changes["UPDATE"] = (*changes["DELETE"], *changes["INSERT"])
        for change, parts in changes.items():
            value = "value"
            for sign, row in parts:
                fields = ", ".join(f'{row}."{column}"' for column in columns)
                value = f"summed({value}, {sign}, {fields})"
            connection.execute(
                f'CREATE TEMP TRIGGER "sum {change} {table}" AFTER {change} ON main."{table}" '  # noqa: S608  # names of our schema
                f"BEGIN UPDATE content_sum SET value = {value} WHERE name = '{table}'; END"
            )


def renew_sums(connection: sqlite3.Connection) -> None:
    """Sum up every table as it stands, within the caller's transaction: after a step of a schema.

    Does nothing to a file of a version that has no sums.
    """
    if _has_sums(connection):
        connection.execute("DELETE FROM content_sum")
        connection.executemany("INSERT INTO content_sum VALUES (?, ?)", _sums(connection))


def sum_faults(connection: sqlite3.Connection) -> Iterator[str]:
    """The tables that do not hold what was written, a line each. Raises what SQLite raises."""
    if not _has_sums(connection):
        return
    kept = {row[0]: row[1] for row in connection.execute("SELECT name, value FROM content_sum")}
    found = dict(_sums(connection))
    for name in sorted(kept.keys() | found.keys()):
        if kept.get(name) != found.get(name):
            yield f"{name}: something in it is not as it was written"


def _has_sums(connection: sqlite3.Connection) -> bool:
    query = "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = 'content_sum'"
    return connection.execute(query).fetchone() is not None


def _tables(connection: sqlite3.Connection) -> list[tuple[str, list[str]]]:
    rows = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'content_sum' "
        "AND name NOT LIKE 'sqlite_%' ORDER BY name"
    ).fetchall()
    return [
        (name, [column[1] for column in connection.execute(f'PRAGMA table_info("{name}")')])
        for (name,) in rows
    ]


def _sums(connection: sqlite3.Connection) -> Iterator[tuple[str, int]]:
    for name, columns in _tables(connection):
        fields = ", ".join(f'"{column}"' for column in columns)
        value = 0
        for row in connection.execute(f'SELECT {fields} FROM "{name}"'):  # noqa: S608  # as above
            value = _summed(value, 1, *row)
        yield name, value


def _summed(value: int, sign: int, *row: object) -> int:
    return (value + sign * _hash(row)) % _WRAP


def _hash(row: Sequence[object]) -> int:
    # Not repr: what it spells out, and what it escapes, changes with the Unicode of each Python.
    return int.from_bytes(hashlib.blake2b(ascii(row).encode(), digest_size=8).digest(), "big")
