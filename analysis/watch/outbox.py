"""The outbox: messages on their way to the keeper's addresses, in `alarms.db`.

At least once to every address, in order per alarm, and not again to an address that has it: each
message has one row per address. A message carries a reference by which a repeat is known.
Bounds: a message is given up for an address after seven days, and the oldest one when
more than 500 wait for it; given up is logged and kept.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum

from analysis.watch.alarm_file import transaction
from analysis.watch.states import DAY_MS, MINUTE_MS, AlarmKey, Priority

MOST_WAIT_MS = 15 * MINUTE_MS
"""The longest wait between two attempts."""
GIVE_UP_AFTER_MS = 7 * DAY_MS
MOST_WAITING = 500
KEEP_MS = 400 * DAY_MS

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


# The deliveries that may go next: waiting, due, and no older message of that alarm waits for the
# same address. A next attempt further off than any wait was set by a clock that has been put back.
_DUE = f"""
    FROM delivery AS d JOIN outbox AS o USING (message)
    WHERE d.state = 'waiting' AND d.address = :address
      AND (d.next_ms <= :now OR d.next_ms > :now + {MOST_WAIT_MS})
      AND NOT EXISTS (
        SELECT 1 FROM delivery AS e JOIN outbox AS p USING (message)
        WHERE e.state = 'waiting' AND e.address = d.address AND p.message < o.message
          AND p.kind = o.kind AND p.enclosure = o.enclosure AND p.probe = o.probe)
"""  # noqa: S608  # only our own number


class Outbox:
    """The outbox in an open alarm file. `first_wait_ms`: from the first to the second attempt."""

    def __init__(self, connection: sqlite3.Connection, first_wait_ms: int = 10_000) -> None:
        self._connection = connection
        self._first_wait_ms = min(max(1, first_wait_ms), MOST_WAIT_MS)

    # ---- the watch's side: called within its transactions -----------------------------------

    def put(self, message: Message, addresses: Iterable[str], now_ms: int) -> None:
        """Add a message for these addresses; one with a known reference is passed over."""
        key = message.key
        added = self._connection.execute(
            "INSERT INTO outbox (reference, kind, enclosure, probe, urgency, title, body, "
            "created_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (reference) DO NOTHING",
            (message.reference, key.kind, key.enclosure, key.probe or "", message.urgency,
             message.title, message.body, now_ms),
        )  # fmt: skip
        if added.rowcount:
            for address in addresses:
                self._wait_for(added.lastrowid, address, now_ms)

    def _wait_for(self, number: int | None, address: str, now_ms: int) -> None:
        self._connection.execute(
            "INSERT INTO delivery (message, address, state, next_ms) VALUES (?, ?, 'waiting', ?) "
            "ON CONFLICT DO NOTHING",
            (number, address, now_ms),
        )
        overfull = self._connection.execute(
            "SELECT message FROM delivery WHERE address = ? AND state = 'waiting' "
            "ORDER BY message DESC LIMIT -1 OFFSET ?",
            (address, MOST_WAITING),
        ).fetchall()
        for row in overfull:
            self._give_up(row["message"], address, now_ms, "too many messages were waiting")

    def change_addresses(
        self, addresses: Collection[str], standing: Collection[AlarmKey], now_ms: int
    ) -> None:
        """Make the waiting messages fit the addresses of the settings.

        What waits for an address that is no longer there is given up. A new address gets the
        newest message of each standing alarm, and so does one that has come back.
        """
        for row in self._connection.execute(
            "SELECT message, address FROM delivery WHERE state = 'waiting'"
        ).fetchall():
            if row["address"] not in addresses:
                self._give_up(row["message"], row["address"], now_ms, _ADDRESS_LEFT)
        for key in standing:
            row = self._connection.execute(
                "SELECT max(message) AS newest FROM outbox WHERE kind = ? AND enclosure = ? "
                "AND probe = ?",
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
            self._give_up(row["message"], row["address"], now_ms, reason)
        self._connection.execute(
            "DELETE FROM outbox WHERE created_ms < ? AND NOT EXISTS (SELECT 1 FROM delivery AS d "
            "WHERE d.message = outbox.message AND d.state = 'waiting')",
            (now_ms - KEEP_MS,),
        )

    def _give_up(self, number: int, address: str, now_ms: int, reason: str) -> None:
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
        return any(
            self._connection.execute(
                f"SELECT 1 {_DUE} LIMIT 1",
                {"address": address, "now": now_ms},
            ).fetchone()
            for address in addresses
        )

    # ---- the delivery's side: a transaction each --------------------------------------------

    def next_delivery(
        self, address: str, now_ms: int, but_not: Collection[int] = ()
    ) -> Delivery | None:
        """The delivery to try next at this address: the one tried least, then the oldest."""
        rows = self._connection.execute(
            f"SELECT o.*, d.attempts {_DUE} ORDER BY d.attempts, o.message",
            {"address": address, "now": now_ms},
        )
        for row in rows.fetchall():
            if row["message"] not in but_not:
                return Delivery(
                    row["message"], address, row["reference"], Urgency(row["urgency"]),
                    row["title"], row["body"], row["attempts"],
                )  # fmt: skip
        return None

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
                self._give_up(row["message"], address, now_ms, reason)
