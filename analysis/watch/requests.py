"""What a keeper asks of an alarm: to acknowledge it, to shelve it, to take it out of service.

Asked from the command line, the page or a link in a message: any process writes a request down,
and the watch, which alone changes alarms, carries it out at its next evaluation.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from analysis.watch.alarm_file import open_alarms, speaking_of, transaction
from analysis.watch.states import AlarmKey, Kind


class Action(StrEnum):
    """What is asked, in the terms of ISA-18.2."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"


@dataclass(frozen=True, slots=True)
class Request:
    """One request. `until_ms` is the end of a shelving, which always has one."""

    number: int
    at_ms: int
    who: str
    action: Action
    key: AlarmKey
    until_ms: int | None = None


def ask(
    path: Path, action: Action, key: AlarmKey, *, who: str, now_ms: int, until_ms: int | None = None
) -> int:
    """Write a request down; its number. Raises StoreFault; ValueError for a shelving without end
    or one that ends before it begins."""
    if (action is Action.SHELVE) != (until_ms is not None):
        raise ValueError("a shelving has an end, and nothing else has")
    if until_ms is not None and until_ms <= now_ms:
        raise ValueError("a shelving ends after it begins")
    with speaking_of(path), closing(open_alarms(path)) as connection, transaction(connection):
        row = connection.execute(
            "INSERT INTO request (at_ms, who, action, kind, enclosure, probe, until_ms) "
            "VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING request",
            (now_ms, who, action, key.kind, key.enclosure, key.probe or "", until_ms),
        ).fetchone()
        return int(row["request"])


def waiting(connection: sqlite3.Connection) -> list[Request]:
    """The requests not yet carried out, the oldest first."""
    rows = connection.execute(
        "SELECT * FROM request WHERE settled_ms IS NULL ORDER BY request"
    ).fetchall()
    return [_request(row) for row in rows]


def settle(connection: sqlite3.Connection, numbers: Collection[int], now_ms: int) -> None:
    """Mark requests as carried out; inside the transaction that keeps what came of them."""
    connection.executemany(
        "UPDATE request SET settled_ms = ? WHERE request = ?",
        [(now_ms, number) for number in numbers],
    )


def _request(row: sqlite3.Row) -> Request:
    key = AlarmKey(Kind(row["kind"]), row["enclosure"], row["probe"] or None)
    return Request(
        row["request"], row["at_ms"], row["who"], Action(row["action"]), key, row["until_ms"]
    )
