"""What was done to the records: every addition, change and removal, and the version before it.

Changes made in one transaction are one entry: one command, one import. An entry may take another
one back; both stay.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from collector.book.records import Record
from collector.book.tables import BY_NAME, TABLES

_ENCODED = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode

Action = Literal["added", "changed", "removed"]


@dataclass(frozen=True, slots=True)
class Change:
    """One change: who made it and when (UTC ms), to which record, and what stood there before.

    `kind` is the record's name in lower case ("meal"); `key` is what it is known by. `before`
    holds the plain values as they were, also those of fields that no longer exist; None where
    the record was not there. `entry` is the number of the first change made together with this
    one, `undoes` the entry that it takes back.
    """

    number: int
    at_ms: int
    who: str
    action: Action
    kind: str
    key: Mapping[str, object]
    before: Mapping[str, object] | None
    entry: int
    undoes: int | None = None

    @property
    def record(self) -> Record | None:
        """The version before, as a record; putting it again undoes the change. None: not there."""
        return None if self.before is None else BY_NAME[self.kind].read(self.before)


@dataclass(frozen=True, slots=True)
class Made:
    """By whom and when (UTC ms) changes are made, in which entry (None: a new one)."""

    who: str
    at_ms: int
    entry: int | None = None
    undoes: int | None = None


def keep(connection: sqlite3.Connection, record: Record, action: Action, made: Made) -> int:
    """Write down what is about to become of `record` as it stands; returns the change's number.

    Of a record that is added only its key is kept: it stands in the book.
    """
    table = TABLES[type(record)]
    before = None if action == "added" else _json(table.values(record))
    done = connection.execute(
        "INSERT INTO history (at_ms, who, action, kind, key, before, entry, undoes) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            made.at_ms,
            made.who,
            action,
            table.name,
            _json(table.key_of(record)),
            before,
            made.entry,
            made.undoes,
        ),
    )
    return int(done.lastrowid or 0)


def changes(connection: sqlite3.Connection) -> list[Change]:
    """All changes, oldest first."""
    return [_change(row) for row in connection.execute("SELECT * FROM history ORDER BY number")]


def changes_of(connection: sqlite3.Connection, record: Record) -> list[Change]:
    """The changes of what `record` is known by, oldest first."""
    table = TABLES[type(record)]
    rows = connection.execute(
        "SELECT * FROM history WHERE kind = ? AND key = ? ORDER BY number",
        (table.name, _json(table.key_of(record))),
    )
    return [_change(row) for row in rows]


def after(connection: sqlite3.Connection, change: Change) -> Record | None:
    """What stood there after the change; None where nothing did."""
    following = next_of(connection, change)
    if following is not None:
        return following.record
    table = BY_NAME[change.kind]
    row = connection.execute(table.select(table.key), dict(change.key)).fetchone()
    return None if row is None else table.read(dict(row))


def of_entry(connection: sqlite3.Connection, number: int) -> list[Change]:
    """The changes made together with change `number`, oldest first; none where there is none."""
    rows = connection.execute(
        "SELECT * FROM history WHERE coalesce(entry, number) = "
        "(SELECT coalesce(entry, number) FROM history WHERE number = ?) ORDER BY number",
        (number,),
    )
    return [_change(row) for row in rows]


def taken_back(connection: sqlite3.Connection) -> dict[int, int]:
    """The entries that do not hold any more, each with the entry that took it back."""
    rows = connection.execute(
        "SELECT DISTINCT coalesce(entry, number) AS entry, undoes FROM history "
        "WHERE undoes IS NOT NULL ORDER BY 1 DESC"
    )
    gone: dict[int, int] = {}
    for row in rows:  # the newest first: what took another back may itself have been taken back
        if row["entry"] not in gone:
            gone[row["undoes"]] = row["entry"]
    return gone


def last_entry(connection: sqlite3.Connection) -> int | None:
    """The newest entry that holds and took none back; None where there is none."""
    gone = taken_back(connection)
    rows = connection.execute(
        "SELECT number FROM history WHERE coalesce(entry, number) = number AND undoes IS NULL "
        "ORDER BY number DESC"
    )
    return next((row["number"] for row in rows if row["number"] not in gone), None)


def next_of(connection: sqlite3.Connection, change: Change) -> Change | None:
    """The next change of the same record, or None."""
    row = connection.execute(
        "SELECT * FROM history WHERE kind = ? AND key = ? AND number > ? ORDER BY number LIMIT 1",
        (change.kind, _json(change.key), change.number),
    ).fetchone()
    return None if row is None else _change(row)


def _json(values: Mapping[str, object]) -> str:
    return _ENCODED(values)


def _change(row: sqlite3.Row) -> Change:
    return Change(
        number=row["number"],
        at_ms=row["at_ms"],
        who=row["who"],
        action=row["action"],
        kind=row["kind"],
        key=json.loads(row["key"]),
        before=None if row["before"] is None else json.loads(row["before"]),
        entry=row["entry"] or row["number"],
        undoes=row["undoes"],
    )
