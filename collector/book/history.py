"""What the records were before: every change and every removal keeps the version it replaced."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from collector.book.records import Record
from collector.book.tables import BY_NAME, TABLES

Action = Literal["changed", "removed"]


@dataclass(frozen=True, slots=True)
class Change:
    """One change: who made it and when (UTC ms), to which record, and what stood there before.

    `kind` is the record's name in lower case ("meal"); `key` is what it is known by. `before`
    holds the plain values as they were, also those of fields that no longer exist.
    """

    number: int
    at_ms: int
    who: str
    action: Action
    kind: str
    key: Mapping[str, object]
    before: Mapping[str, object]

    @property
    def record(self) -> Record:
        """The version before, as a record; putting it again undoes the change."""
        return BY_NAME[self.kind].read(self.before)


def keep(
    connection: sqlite3.Connection, record: Record, action: Action, who: str, at_ms: int
) -> None:
    """Write down `record` as it stands, inside the transaction that is about to alter it."""
    table = TABLES[type(record)]
    connection.execute(
        "INSERT INTO history (at_ms, who, action, kind, key, before) VALUES (?, ?, ?, ?, ?, ?)",
        (at_ms, who, action, table.name, _key(record), _json(table.values(record))),
    )


def changes(connection: sqlite3.Connection) -> list[Change]:
    """All changes, oldest first."""
    return [_change(row) for row in connection.execute("SELECT * FROM history ORDER BY number")]


def changes_of(connection: sqlite3.Connection, record: Record) -> list[Change]:
    """The changes of what `record` is known by, oldest first."""
    rows = connection.execute(
        "SELECT * FROM history WHERE kind = ? AND key = ? ORDER BY number",
        (TABLES[type(record)].name, _key(record)),
    )
    return [_change(row) for row in rows]


def _key(record: Record) -> str:
    return _json(TABLES[type(record)].key_of(record))


def _json(values: Mapping[str, object]) -> str:
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def _change(row: sqlite3.Row) -> Change:
    return Change(
        number=row["number"],
        at_ms=row["at_ms"],
        who=row["who"],
        action=row["action"],
        kind=row["kind"],
        key=json.loads(row["key"]),
        before=json.loads(row["before"]),
    )
