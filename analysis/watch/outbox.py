"""The outbox: messages on their way to the keeper's addresses, in `alarms.db`.

At least once to every address, the oldest first, and not again to an address that has it: each
message has one row per address. Only a process killed between the sending and the noting of it
sends twice; a message carries a reference by which a repeat is known. While an address does not
answer, nothing overtakes. A message that one service refuses again and again is passed by, but by
none of the same alarm. What waits for the end of the quiet hours is held, and holds up nothing.
Bounds: a message is given up for an address after seven days, and the oldest one when
more than 500 wait for it; given up is logged and kept.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum

from analysis.watch.alarm_file import transaction
from analysis.watch.states import DAY_MS, MINUTE_MS, AlarmKey, Kind, Priority

MOST_WAIT_MS = 15 * MINUTE_MS
"""The longest wait between two attempts."""
GIVE_UP_AFTER_MS = 7 * DAY_MS
MOST_WAITING = 500
STUBBORN = 3
"""After so many attempts a message may be one that the service will not take."""
KEEP_MS = 400 * DAY_MS

OVER_ALREADY = "it was over before the quiet hours were"
SAID_URGENTLY = "a more urgent message has said it"
FOR_OTHERS = "-2"
"""The end of the reference of a message that tells others what nobody has answered."""
TRIAL = "trial"
"""What stands in place of an alarm's kind in a trial message."""
_ADDRESS_LEFT = "its address is no longer in the settings"
_LOG = logging.getLogger(__name__)


class Urgency(StrEnum):
    """How a message should be shown."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"
    ALL_CLEAR = "all clear"
    NOTE = "note"

    @classmethod
    def of(cls, priority: Priority) -> Urgency:
        """The urgency of an alarm's message."""
        return cls(priority.name.lower())


@dataclass(frozen=True, slots=True)
class Message:
    """One message about one alarm."""

    reference: str
    key: AlarmKey
    urgency: Urgency
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message on its way to one address."""

    number: int
    address: str
    reference: str
    urgency: Urgency
    title: str
    body: str
    attempts: int
    key: AlarmKey | None
    """None for a message that is about no alarm."""
    enclosure: str
    """The one whose last hours are shown beside it; empty: none."""
    trial: bool
    """True for one that shows how an alarm arrives."""
    created_ms: int


# A time further off than any wait was set by a clock that has been put back.
_NOT_HELD = f"(held_until_ms IS NULL OR held_until_ms <= :now OR held_until_ms > :now + {DAY_MS})"
# The deliveries that may go, the oldest first: no older one of that alarm waits there. One that
# is held does not keep what has become urgent since.
_MAY_GO = f"""
    FROM delivery AS d JOIN outbox AS o USING (message)
    WHERE d.state = 'waiting' AND d.address = :address AND {_NOT_HELD}
      AND NOT EXISTS (
        SELECT 1 FROM delivery AS e JOIN outbox AS p USING (message)
        WHERE e.state = 'waiting' AND e.address = d.address AND p.message < o.message
          AND {_NOT_HELD.replace("held_", "e.held_")}
          AND p.kind = o.kind AND p.enclosure = o.enclosure AND p.probe = o.probe)
    ORDER BY o.message
"""  # noqa: S608  # only our own numbers

Hold = Callable[[Urgency, int], int | None]
"""Until when (UTC ms) a message of an urgency, made at a moment, is held; None: not at all."""


class Outbox:
    """The outbox in an open alarm file. `first_wait_ms`: from the first to the second attempt."""

    def __init__(
        self, connection: sqlite3.Connection, first_wait_ms: int = 10_000, hold: Hold | None = None
    ) -> None:
        self._connection = connection
        self._hold = hold
        self._first_wait_ms = min(max(1, first_wait_ms), MOST_WAIT_MS)

    # ---- the watch's side: called within its transactions -----------------------------------

    def put(self, message: Message, addresses: Iterable[str], now_ms: int) -> None:
        """Add a message for these addresses; one with a known reference is passed over.

        That an alarm is over is told to everyone who was told of it.
        """
        key, before = message.key, self._before(message.key)
        added = self._connection.execute(
            "INSERT INTO outbox (reference, kind, enclosure, probe, urgency, title, body, "
            "created_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (reference) DO NOTHING",
            (message.reference, key.kind, key.enclosure, key.probe or "", message.urgency,
             message.title, message.body, now_ms),
        )  # fmt: skip
        if not added.rowcount:
            return
        told = set(addresses)
        if message.urgency is Urgency.ALL_CLEAR and before is not None:
            told |= self._told(key)
        held_ms = self._held_until_ms(message, before, now_ms)
        for address in sorted(told):
            self._wait_for(added.lastrowid, address, now_ms, held_ms)

    def _before(self, key: AlarmKey) -> sqlite3.Row | None:
        """The newest message of an alarm."""
        row: sqlite3.Row | None = self._connection.execute(
            "SELECT message, urgency FROM outbox WHERE kind = ? AND enclosure = ? AND probe = ? "
            "ORDER BY message DESC LIMIT 1",
            (key.kind, key.enclosure, key.probe or ""),
        ).fetchone()
        return row

    def _told(self, key: AlarmKey) -> set[str]:
        """Who was told of an alarm, or will be, since it was last over."""
        rows = self._connection.execute(
            "SELECT DISTINCT d.address FROM delivery AS d JOIN outbox AS o USING (message) "
            "WHERE o.kind = :kind AND o.enclosure = :enclosure AND o.probe = :probe "
            "AND o.urgency <> 'all clear' AND d.state <> 'given up' AND o.message > coalesce(("
            "SELECT max(p.message) FROM outbox AS p WHERE p.kind = :kind "
            "AND p.enclosure = :enclosure AND p.probe = :probe AND p.urgency = 'all clear' "
            "AND p.message < (SELECT max(message) FROM outbox)), 0)",
            {"kind": key.kind, "enclosure": key.enclosure, "probe": key.probe or ""},
        )
        return {row["address"] for row in rows}

    def _held_until_ms(
        self, message: Message, before: sqlite3.Row | None, now_ms: int
    ) -> int | None:
        """Who was woken is told at once that it is over."""
        if self._hold is None:
            return None
        urgency = message.urgency
        if urgency is Urgency.ALL_CLEAR and before is not None:
            urgency = Urgency(before["urgency"])
        return self._hold(urgency, now_ms)

    def _wait_for(
        self, number: int | None, address: str, now_ms: int, held_ms: int | None = None
    ) -> None:
        self._connection.execute(
            "INSERT INTO delivery (message, address, state, next_ms, held_until_ms) "
            "VALUES (?, ?, 'waiting', ?, ?) ON CONFLICT DO NOTHING",
            (number, address, now_ms, held_ms),
        )
        if held_ms is None:  # it goes behind what waits already: that is tried now, too
            self._connection.execute(
                "UPDATE delivery SET next_ms = ? "
                "WHERE address = ? AND state = 'waiting' AND next_ms > ?",
                (now_ms, address, now_ms),
            )
        overfull = self._connection.execute(
            "SELECT message FROM delivery WHERE address = ? AND state = 'waiting' "
            "ORDER BY message DESC LIMIT -1 OFFSET ?",
            (address, MOST_WAITING),
        ).fetchall()
        for row in overfull:
            self.give_up(row["message"], address, now_ms, "too many messages were waiting")

    def change_addresses(
        self,
        addresses: Collection[str],
        standing: Collection[AlarmKey],
        now_ms: int,
        others: Collection[str] = (),
    ) -> None:
        """Make the waiting messages fit the addresses of the settings.

        `others` are told of some messages only: they keep what waits for them. What waits for an
        address that is no longer there is given up. A new address gets the newest message of each
        standing alarm, and so does one that has come back.
        """
        for row in self._connection.execute(
            "SELECT message, address FROM delivery WHERE state = 'waiting'"
        ).fetchall():
            if row["address"] not in addresses and row["address"] not in others:
                self.give_up(row["message"], row["address"], now_ms, _ADDRESS_LEFT)
        for key in standing:
            row = self._connection.execute(
                "SELECT max(message) AS newest FROM outbox WHERE kind = ? AND enclosure = ? "  # noqa: S608
                f"AND probe = ? AND reference NOT LIKE '%{FOR_OTHERS}'",  # only our own mark
                (key.kind, key.enclosure, key.probe or ""),
            ).fetchone()
            if row["newest"] is not None:
                for address in addresses:
                    self._tell(row["newest"], address, now_ms)

    def _tell(self, number: int, address: str, now_ms: int) -> None:
        self._connection.execute(
            "UPDATE delivery SET state = 'waiting', next_ms = ?, settled_ms = NULL, fault = NULL "
            "WHERE message = ? AND address = ? AND fault = ?",
            (now_ms, number, address, _ADDRESS_LEFT),
        )
        self._wait_for(number, address, now_ms)

    def tidy(self, now_ms: int) -> None:
        """Give up what has waited too long, and forget settled messages of long ago."""
        for row in self._connection.execute(
            "SELECT message, address FROM delivery JOIN outbox USING (message) "
            "WHERE state = 'waiting' AND created_ms < ?",
            (now_ms - GIVE_UP_AFTER_MS,),
        ).fetchall():
            reason = f"it could not be delivered in {GIVE_UP_AFTER_MS // DAY_MS} days"
            self.give_up(row["message"], row["address"], now_ms, reason)
        self._connection.execute(
            "DELETE FROM outbox WHERE created_ms < ? AND NOT EXISTS (SELECT 1 FROM delivery AS d "
            "WHERE d.message = outbox.message AND d.state = 'waiting')",
            (now_ms - KEEP_MS,),
        )

    def give_up(self, number: int, address: str, now_ms: int, reason: str) -> None:
        """Send it there no more; the reason is kept and logged."""
        self._connection.execute(
            "UPDATE delivery SET state = 'given up', settled_ms = ?, fault = ? "
            "WHERE message = ? AND address = ? AND state = 'waiting'",
            (now_ms, reason, number, address),
        )
        row = self._connection.execute(
            "SELECT reference, title FROM outbox WHERE message = ?", (number,)
        ).fetchone()
        _LOG.warning(
            "message %s (%s) is given up for one address: %s",
            row["reference"], row["title"], reason,
        )  # fmt: skip

    def something_due(self, addresses: Iterable[str], now_ms: int) -> bool:
        """True when an attempt should be made now."""
        return any(_due(self._oldest(address, now_ms), now_ms) for address in addresses)

    def _oldest(self, address: str, now_ms: int) -> sqlite3.Row | None:
        row: sqlite3.Row | None = self._connection.execute(
            f"SELECT d.next_ms {_MAY_GO} LIMIT 1", {"address": address, "now": now_ms}
        ).fetchone()
        return row

    # ---- the delivery's side: a transaction each --------------------------------------------

    def next_delivery(
        self, address: str, now_ms: int, but_not: Collection[int] = ()
    ) -> Delivery | None:
        """The delivery to try next at this address: the oldest, when it is due.

        `but_not` are those that have failed just now: the one behind them may be tried only where
        each of them has failed so often that the fault may be the message's and not the address's.
        """
        rows = self._connection.execute(
            f"SELECT o.*, d.attempts, d.next_ms {_MAY_GO}", {"address": address, "now": now_ms}
        )
        for row in rows.fetchall():
            if row["message"] in but_not:
                if row["attempts"] < STUBBORN:
                    return None
                continue
            return _delivery(row, address) if but_not or _due(row, now_ms) else None
        return None

    def pass_over(self, address: str, now_ms: int) -> None:
        """What was held is not told when it was over before it could be, for its end says it all;
        nor when the same alarm has called more urgently since."""
        with transaction(self._connection):
            for newer, states, reason in (
                (Urgency.ALL_CLEAR, "'waiting'", OVER_ALREADY),
                (Urgency.HIGH, "'waiting', 'delivered'", SAID_URGENTLY),
            ):
                rows = self._connection.execute(
                    "SELECT d.message FROM delivery AS d "  # noqa: S608  # only our own words
                    "JOIN outbox AS o USING (message) "
                    "WHERE d.state = 'waiting' AND d.address = :address AND d.attempts = 0 "
                    f"AND d.held_until_ms IS NOT NULL AND {_NOT_HELD} "
                    "AND o.urgency IN ('medium', 'low') "
                    "AND EXISTS (SELECT 1 FROM delivery AS e JOIN outbox AS p USING (message) "
                    f"WHERE e.state IN ({states}) AND e.address = d.address "
                    "AND p.message > o.message AND p.urgency = :newer AND p.kind = o.kind "
                    "AND p.enclosure = o.enclosure AND p.probe = o.probe)",
                    {"address": address, "now": now_ms, "newer": newer},
                ).fetchall()
                for row in rows:
                    self.give_up(row["message"], address, now_ms, reason)

    def begin(self, delivery: Delivery, now_ms: int) -> None:
        """An attempt begins. Should this process die in it, it is tried again after the wait."""
        wait_ms = min(self._first_wait_ms << min(delivery.attempts, 24), MOST_WAIT_MS)
        with transaction(self._connection):
            self._connection.execute(
                "UPDATE delivery SET attempts = attempts + 1, next_ms = ? "
                "WHERE message = ? AND address = ?",
                (now_ms + wait_ms, delivery.number, delivery.address),
            )

    def delivered(self, delivery: Delivery, now_ms: int) -> None:
        """It has arrived; so the address answers, and what waits for it is due at once."""
        with transaction(self._connection):
            self._connection.execute(
                "UPDATE delivery SET state = 'delivered', settled_ms = ?, fault = NULL "
                "WHERE message = ? AND address = ?",
                (now_ms, delivery.number, delivery.address),
            )
            self._connection.execute(
                "UPDATE delivery SET next_ms = ? WHERE address = ? AND state = 'waiting'",
                (now_ms, delivery.address),
            )

    def failed(self, delivery: Delivery, fault: str) -> None:
        """It has not arrived; `fault` says why, without secrets."""
        with transaction(self._connection):
            self._connection.execute(
                "UPDATE delivery SET fault = ? WHERE message = ? AND address = ?",
                (fault, delivery.number, delivery.address),
            )

    def postpone(self, address: str, now_ms: int) -> None:
        """The address does not answer: what is due there waits for a first wait at least."""
        with transaction(self._connection):
            self._connection.execute(
                "UPDATE delivery SET next_ms = max(next_ms, ?) "
                "WHERE address = ? AND state = 'waiting' AND next_ms <= ?",
                (now_ms + self._first_wait_ms, address, now_ms),
            )

    def refuse(self, address: str, now_ms: int, reason: str) -> None:
        """The address can never be used: nothing waits for it any more."""
        with transaction(self._connection):
            for row in self._connection.execute(
                "SELECT message FROM delivery WHERE address = ? AND state = 'waiting'", (address,)
            ).fetchall():
                self.give_up(row["message"], address, now_ms, reason)


def _due(row: sqlite3.Row | None, now_ms: int) -> bool:
    if row is None:
        return False
    return bool(row["next_ms"] <= now_ms or row["next_ms"] > now_ms + MOST_WAIT_MS)


def _delivery(row: sqlite3.Row, address: str) -> Delivery:
    return Delivery(
        row["message"], address, row["reference"], Urgency(row["urgency"]),
        row["title"], row["body"], row["attempts"], _key(row),
        row["enclosure"], row["kind"] == TRIAL, row["created_ms"],
    )  # fmt: skip


def _key(row: sqlite3.Row) -> AlarmKey | None:
    if row["kind"] not in set(Kind):
        return None
    return AlarmKey(Kind(row["kind"]), row["enclosure"], row["probe"] or None)
