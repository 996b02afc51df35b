"""An urgent alarm that nobody acknowledges is told to someone else, once.

What has not gone out when it is answered, or over, is called off.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Collection
from dataclasses import replace

from analysis.watch.outbox import FOR_OTHERS, Message, Outbox, Urgency
from analysis.watch.states import MINUTE_MS, AlarmKey, Kind, Priority, State

# Alarms that call for an answer, with their newest message that does. A message of the time
# before the alarm was raised is not its own.
_CALLING = f"""
    SELECT o.* FROM alarm AS a JOIN outbox AS o USING (kind, enclosure, probe)
    WHERE a.state = :unacknowledged AND a.priority >= :priority AND a.out_of_service = 0
      AND a.shelved_until_ms IS NULL AND a.under_kind IS NULL
      AND o.urgency = 'high' AND o.reference NOT IN (SELECT reference FROM outbox
        WHERE reference LIKE '%{FOR_OTHERS}')
      AND o.created_ms >= a.raised_ms AND o.created_ms <= :before
    ORDER BY o.message
"""  # noqa: S608  # only our own mark
_CALLED_OFF = f"""
    SELECT d.message, d.address FROM delivery AS d JOIN outbox AS o USING (message)
    WHERE d.state = 'waiting' AND o.reference LIKE '%{FOR_OTHERS}' AND NOT EXISTS (
      SELECT 1 FROM alarm AS a
      WHERE a.kind = o.kind AND a.enclosure = o.enclosure AND a.probe = o.probe
        AND a.state = :unacknowledged AND a.out_of_service = 0 AND a.shelved_until_ms IS NULL)
"""  # noqa: S608  # only our own mark


def tell_others(
    connection: sqlite3.Connection,
    outbox: Outbox,
    others: Collection[str],
    after_minutes: float,
    now_ms: int,
) -> int:
    """Put what has not been answered in time into the outbox for the others; how many there were.

    To be called inside a transaction. Called again, it adds nothing.
    """
    for row in connection.execute(_CALLED_OFF, {"unacknowledged": State.UNACKNOWLEDGED}).fetchall():
        outbox.give_up(row["message"], row["address"], now_ms, "it was answered, or over, before")
    if not others:
        return 0
    rows = connection.execute(
        _CALLING,
        {
            "unacknowledged": State.UNACKNOWLEDGED,
            "priority": int(Priority.HIGH),
            "before": now_ms - round(after_minutes * MINUTE_MS),
        },
    ).fetchall()
    newest = {(row["kind"], row["enclosure"], row["probe"]): row for row in rows}
    told = 0
    for row in newest.values():
        message = _for_others(row, after_minutes)
        known = connection.execute(
            "SELECT 1 FROM outbox WHERE reference = ?", (message.reference,)
        ).fetchone()
        if known is None:
            outbox.put(message, others, now_ms)
            told += 1
    return told


def _for_others(row: sqlite3.Row, after_minutes: float) -> Message:
    key = AlarmKey(Kind(row["kind"]), row["enclosure"], row["probe"] or None)
    asked = f"Nobody has acknowledged this for {after_minutes:.0f} min: please look."
    body = row["body"].replace(f"Message {row['reference']}", "").rstrip()
    message = Message(
        reference_for_others(row["reference"]), key, Urgency.HIGH, f"Unanswered: {row['title']}", ""
    )
    return replace(message, body=f"{asked}\n{body}\nMessage {message.reference}")


def reference_for_others(reference: str) -> str:
    """The reference of the same message, as it goes to the others."""
    return hashlib.blake2b(reference.encode(), digest_size=5).hexdigest() + FOR_OTHERS
