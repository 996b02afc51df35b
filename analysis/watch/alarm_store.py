"""What is kept of the alarms in `alarms.db`: states, transitions, and the messages they cause.

A change of state and its message are one transaction, so that however the process ends, no change
is without its message and no message is made twice.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from analysis.watch.alarm_file import open_alarms, speaking_of, transaction
from analysis.watch.outbox import FOR_OTHERS, Hold, Message, Outbox, Urgency
from analysis.watch.requests import Request, settle, waiting
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Trail, Transition
from analysis.watch.unanswered import tell_others

_KEPT = ("state", "priority", "since_ms", "since_open", "raised_ms", "changed_ms", "setpoint",
         "deadband", "value", "lowest", "foretold_ms", "latched", "shelved_until_ms",
         "out_of_service", "under_kind", "under_enclosure", "under_probe")  # fmt: skip
_TOLD, _UNTOLD, _WITHHELD = 1, 0, 2
_BY_RULE = tuple(cause for cause in Cause if cause.by_rule)
_BEGINS_ANEW = (Cause.WITHDRAWN, Cause.OUT_OF_SERVICE, Cause.IN_SERVICE)
_PUT_ALARM = (
    f"INSERT INTO alarm (kind, enclosure, probe, {', '.join(_KEPT)}) "  # noqa: S608  # our columns
    f"VALUES (?, ?, ?, {', '.join('?' for _ in _KEPT)}) ON CONFLICT DO UPDATE "
    f"SET {', '.join(f'{name} = excluded.{name}' for name in _KEPT)}"
)


@dataclass(frozen=True, slots=True)
class Watching:
    """Since when there has been a watch without a break, and when it was last known to run."""

    since_ms: int
    seen_ms: int


@dataclass(frozen=True, slots=True)
class PastTransition:
    """One transition as it was kept."""

    key: AlarmKey
    cause: Cause
    before: State
    after: State
    priority: Priority
    at_ms: int
    recorded_ms: int
    value: float | None
    lowest: float | None
    who: str | None = None
    until_ms: int | None = None
    told: bool = True
    withheld: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """A message as it was told."""

    title: str
    body: str
    urgency: Urgency
    created_ms: int


class AlarmStore:
    """The alarm file, as the watch uses it. Every method raises StoreFault on a failing disk."""

    def __init__(self, path: Path, hold: Hold | None = None) -> None:
        """`hold` says until when a message waits for the end of the quiet hours."""
        self._path = path
        self._connection = open_alarms(path)
        self._outbox = Outbox(self._connection, hold=hold)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def alarms(self) -> dict[AlarmKey, Alarm]:
        """Every alarm that was ever raised, as it stands; its trail says from when on, and up to
        when what the readings led to is done."""
        with speaking_of(self._path):
            rows = self._connection.execute("SELECT * FROM alarm").fetchall()
            settled, begun = self._last(_BY_RULE), self._last(_BEGINS_ANEW)
        alarms = [_alarm(row, settled, begun) for row in rows]
        return {alarm.key: alarm for alarm in alarms}

    def _last(self, causes: Collection[Cause]) -> dict[AlarmKey, int]:
        """When each alarm last changed for one of these causes."""
        marks = ", ".join("?" for _ in causes)
        rows = self._connection.execute(
            "SELECT kind, enclosure, probe, max(at_ms) AS at_ms FROM transition "  # noqa: S608
            f"WHERE cause IN ({marks}) GROUP BY kind, enclosure, probe",
            tuple(causes),
        ).fetchall()
        return {_key(row): row["at_ms"] for row in rows}

    def requests(self) -> list[Request]:
        """What keepers asked and has not been carried out, the oldest first."""
        with speaking_of(self._path):
            return waiting(self._connection)

    def transitions(self, since_ms: int = 0) -> list[PastTransition]:
        """All transitions from `since_ms` on, in the order in which they came about."""
        with speaking_of(self._path):
            rows = self._connection.execute(
                "SELECT * FROM transition WHERE at_ms >= ? ORDER BY at_ms, transition", (since_ms,)
            ).fetchall()
        return [_past(row) for row in rows]

    def newest_message(self, key: AlarmKey) -> Told | None:
        """The newest message about an alarm to the keeper; None when there was none."""
        with speaking_of(self._path):
            row = self._connection.execute(
                "SELECT title, body, urgency, created_ms FROM outbox "  # noqa: S608
                "WHERE kind = ? AND enclosure = ? AND probe = ? "
                f"AND reference NOT LIKE '%{FOR_OTHERS}' "  # only our own mark
                "ORDER BY message DESC LIMIT 1",
                (key.kind, key.enclosure, key.probe or ""),
            ).fetchone()
        if row is None:
            return None
        return Told(row["title"], row["body"], Urgency(row["urgency"]), row["created_ms"])

    def watching(self) -> Watching | None:
        """What the last checkpoint said; None when there was none."""
        with speaking_of(self._path):
            row = self._connection.execute("SELECT since_ms, seen_ms FROM watching").fetchone()
        return None if row is None else Watching(row["since_ms"], row["seen_ms"])

    def record(
        self,
        transitions: Sequence[Transition],
        messages: Iterable[Message],
        addresses: Collection[str],
        now_ms: int,
        settled: Collection[int] = (),
    ) -> None:
        """Keep these changes, send these messages to these addresses, and mark the requests of
        these numbers as carried out: all or none."""
        with speaking_of(self._path), transaction(self._connection):
            for transition in transitions:
                self._put_transition(transition, now_ms)
                self._put_alarm(transition.alarm)
            for message in messages:
                self._outbox.put(message, addresses, now_ms)
            settle(self._connection, settled, now_ms)

    def checkpoint(self, watching: Watching, alarms: Iterable[Alarm]) -> None:
        """Keep how far the watch has come, and what standing alarms have seen since."""
        with speaking_of(self._path), transaction(self._connection):
            self._connection.execute(
                "INSERT INTO watching (one, since_ms, seen_ms) VALUES (1, ?, ?) "
                "ON CONFLICT (one) DO UPDATE "
                "SET since_ms = excluded.since_ms, seen_ms = excluded.seen_ms",
                (watching.since_ms, watching.seen_ms),
            )
            for alarm in alarms:
                if alarm.standing:
                    self._put_alarm(alarm)

    def begin(self, addresses: Collection[str], now_ms: int, others: Collection[str] = ()) -> None:
        """Make the outbox fit the addresses of the settings, and tidy it."""
        standing = [key for key, alarm in self.alarms().items() if alarm.standing and alarm.speaks]
        with speaking_of(self._path), transaction(self._connection):
            self._outbox.change_addresses(addresses, standing, now_ms, others)
        self.tidy(now_ms)

    def tell_others(self, others: Collection[str], after_minutes: float, now_ms: int) -> int:
        """Tell them of urgent alarms that nobody has acknowledged in time; how many, for once."""
        with speaking_of(self._path), transaction(self._connection):
            return tell_others(self._connection, self._outbox, others, after_minutes, now_ms)

    def tidy(self, now_ms: int) -> None:
        """Give up messages that have waited too long, and forget those of long ago."""
        with speaking_of(self._path), transaction(self._connection):
            self._outbox.tidy(now_ms)

    def something_due(self, addresses: Collection[str], now_ms: int) -> bool:
        """True when a message should be delivered now."""
        with speaking_of(self._path):
            return self._outbox.something_due(addresses, now_ms)

    def _put_alarm(self, alarm: Alarm) -> None:
        key, under = alarm.key, alarm.under
        self._connection.execute(
            _PUT_ALARM,
            (key.kind, key.enclosure, key.probe or "", alarm.state, int(alarm.priority),
             alarm.since_ms, alarm.since_open, alarm.raised_ms, alarm.changed_ms,
             alarm.setpoint, alarm.deadband, alarm.value, alarm.lowest, alarm.foretold_ms,
             alarm.latched, alarm.shelved_until_ms, alarm.out_of_service,
             under and under.kind, under and under.enclosure, under and (under.probe or "")),
        )  # fmt: skip

    def _put_transition(self, transition: Transition, now_ms: int) -> None:
        alarm = transition.alarm
        key = alarm.key
        told = _TOLD if transition.told else _WITHHELD if transition.withheld else _UNTOLD
        self._connection.execute(
            "INSERT INTO transition (kind, enclosure, probe, cause, before, after, priority, "
            "at_ms, recorded_ms, value, lowest, who, until_ms, told) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (key.kind, key.enclosure, key.probe or "", transition.cause, transition.before,
             alarm.state, int(alarm.priority), transition.at_ms, now_ms, transition.value,
             alarm.lowest, transition.who, transition.until_ms, told),
        )  # fmt: skip


def _key(row: sqlite3.Row) -> AlarmKey:
    return AlarmKey(Kind(row["kind"]), row["enclosure"], row["probe"] or None)


def _under(row: sqlite3.Row) -> AlarmKey | None:
    if row["under_kind"] is None:
        return None
    return AlarmKey(Kind(row["under_kind"]), row["under_enclosure"], row["under_probe"] or None)


def _alarm(
    row: sqlite3.Row, settled: Mapping[AlarmKey, int], begun: Mapping[AlarmKey, int]
) -> Alarm:
    key = _key(row)
    return Alarm(
        key=key,
        state=State(row["state"]),
        priority=Priority(row["priority"]),
        since_ms=row["since_ms"],
        since_open=bool(row["since_open"]),
        raised_ms=row["raised_ms"],
        changed_ms=row["changed_ms"],
        setpoint=row["setpoint"],
        deadband=row["deadband"],
        value=row["value"],
        lowest=row["lowest"],
        foretold_ms=row["foretold_ms"],
        latched=bool(row["latched"]),
        shelved_until_ms=row["shelved_until_ms"],
        out_of_service=bool(row["out_of_service"]),
        under=_under(row),
        trail=Trail(from_ms=begun.get(key, 0), settled_ms=settled.get(key)),
    )


def _past(row: sqlite3.Row) -> PastTransition:
    return PastTransition(
        key=_key(row),
        cause=Cause(row["cause"]),
        before=State(row["before"]),
        after=State(row["after"]),
        priority=Priority(row["priority"]),
        at_ms=row["at_ms"],
        recorded_ms=row["recorded_ms"],
        value=row["value"],
        lowest=row["lowest"],
        who=row["who"],
        until_ms=row["until_ms"],
        told=row["told"] == _TOLD,
        withheld=row["told"] == _WITHHELD,
    )
