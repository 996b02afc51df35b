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
from analysis.watch.states import AlarmKey, Cause, Kind


class Action(StrEnum):
    """What is asked, in the terms of ISA-18.2."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"

    @property
    def brings(self) -> Cause:
        """The change of the alarm that it brings about, where it changes anything."""
        return _BRINGS[self]


_BRINGS = {
    Action.ACKNOWLEDGE: Cause.ACKNOWLEDGED,
    Action.SHELVE: Cause.SHELVED,
    Action.UNSHELVE: Cause.UNSHELVED,
    Action.OUT_OF_SERVICE: Cause.OUT_OF_SERVICE,
    Action.IN_SERVICE: Cause.IN_SERVICE,
}


@dataclass(frozen=True, slots=True)
class Request:
    """One request. `until_ms` is the end of a shelving, which always has one."""

    number: int
    at_ms: int
    who: str
    action: Action
    key: AlarmKey
    until_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """A request and what became of it: carried out at `settled_ms`, None while it waits.

    `changed`: it changed the alarm. One that came too late, or twice, changes nothing.
    """

    request: Request
    settled_ms: int | None = None
    changed: bool = False


def ask(
    path: Path,
    action: Action,
    key: AlarmKey,
    *,
    who: str,
    now_ms: int,
    until_ms: int | None = None,
    mark: str | None = None,
) -> int:
    """Write a request down; its number. The same `mark` again is the same request: nothing is
    written, and the number is that of the first. Raises StoreFault; ValueError for a shelving
    without end or one that ends before it begins."""
    if (action is Action.SHELVE) != (until_ms is not None):
        raise ValueError("a shelving has an end, and nothing else has")
    if until_ms is not None and until_ms <= now_ms:
        raise ValueError("a shelving ends after it begins")
    with speaking_of(path), closing(open_alarms(path)) as connection, transaction(connection):
        row = connection.execute(
            "INSERT INTO request (at_ms, who, action, kind, enclosure, probe, until_ms, mark) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (mark) DO NOTHING RETURNING request",
            (now_ms, who, action, key.kind, key.enclosure, key.probe or "", until_ms, mark),
        ).fetchone()
        if row is None:
            row = connection.execute(
                "SELECT request FROM request WHERE mark = ?", (mark,)
            ).fetchone()
        return int(row["request"])


def asked(path: Path, number: int) -> Asked | None:
    """The request of that number, with what became of it. Raises StoreFault."""
    return _one(path, "request.request = ?", number)


def asked_with(path: Path, mark: str) -> Asked | None:
    """The request of that mark; None when it was never asked. Raises StoreFault."""
    return _one(path, "request.mark = ?", mark)


def _one(path: Path, where: str, value: int | str) -> Asked | None:
    if not path.exists():
        return None
    with speaking_of(path), closing(open_alarms(path)) as connection:
        row = connection.execute(
            "SELECT * FROM request WHERE " + where,  # noqa: S608  # only our own words
            (value,),
        ).fetchone()
        if row is None:
            return None
        return Asked(_request(row), row["settled_ms"], _changed(connection, row))


def _changed(connection: sqlite3.Connection, row: sqlite3.Row) -> bool:
    """True when a change of the alarm was kept in the transaction that settled the request."""
    found = connection.execute(
        "SELECT 1 FROM transition WHERE recorded_ms = ? AND kind = ? AND enclosure = ? "
        "AND probe = ? AND cause = ? AND who = ?",
        (row["settled_ms"], row["kind"], row["enclosure"], row["probe"],
         Action(row["action"]).brings, row["who"]),
    ).fetchone()  # fmt: skip
    return found is not None


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
