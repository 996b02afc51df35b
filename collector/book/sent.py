"""Forms that were sent: each is entered once, however often it comes.

A form has a key from the moment it is shown. The key is kept in the transaction that enters the
form, and as long as the history: so a form that comes again (a second tap, an answer that was lost
on its way, a browser that starts again) is answered with what became of it the first time.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sent:
    """A form that was entered at `at_ms` (UTC).

    `digest` is of what it said; `entry` is the number of its entry in the history, None where it
    changed nothing.
    """

    key: str
    digest: str
    at_ms: int
    entry: int | None


def find(connection: sqlite3.Connection, key: str) -> Sent | None:
    """What became of the form with that key; None where none was entered."""
    row = connection.execute("SELECT * FROM sent WHERE key = ?", (key,)).fetchone()
    return None if row is None else Sent(row["key"], row["digest"], row["at_ms"], row["entry"])


def keep(connection: sqlite3.Connection, sent: Sent) -> None:
    """Write down what became of a form, inside the transaction that enters it."""
    connection.execute(
        "INSERT INTO sent (key, digest, at_ms, entry) VALUES (?, ?, ?, ?)",
        (sent.key, sent.digest, sent.at_ms, sent.entry),
    )
