"""Sessions: who said the pass phrase may look until they leave, or have not looked for a month.

What a browser holds is a random key; what is kept here is its digest. A session holds for the pass
phrase that it was made with: with a new one everybody is out.
"""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
from pathlib import Path

from analysis.page.access.access_file import opened

DAY_MS = 86_400_000
IDLE_MS = 30 * DAY_MS
"""Ends when it was not used for so long (our own choice)."""
LONGEST_MS = 180 * DAY_MS
"""Ends in any case after so long (our own choice)."""
_SEEN_EVERY_MS = DAY_MS
_MOST = 256


class Sessions:
    """The sessions of one home."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def begin(self, passphrase: str, now_ms: int) -> str:
        """A new session for the pass phrase of that mark; the key for its cookie."""
        key = secrets.token_urlsafe(32)
        with opened(self._path) as file:
            _forget_the_old(file, now_ms)
            file.execute(
                "INSERT INTO session VALUES (?, ?, ?, ?)",
                (digest_of(key), passphrase, now_ms, now_ms),
            )
        return key

    def holds(self, key: str, passphrase: str, now_ms: int) -> bool:
        """True when this is the key of a session that has not ended."""
        if not key or not passphrase or not self._path.exists():
            return False
        with opened(self._path) as file:
            row = file.execute(
                "SELECT * FROM session WHERE digest = ? AND passphrase = ?",
                (digest_of(key), passphrase),
            ).fetchone()
            if row is None or not _is_live(row, now_ms):
                return False
            if now_ms - row["seen_ms"] >= _SEEN_EVERY_MS:  # not at each look: spare the card
                file.execute(
                    "UPDATE session SET seen_ms = ? WHERE digest = ?", (now_ms, row["digest"])
                )
        return True

    def end(self, key: str) -> None:
        """End one; nothing happens when it has ended already."""
        if self._path.exists():
            with opened(self._path) as file:
                file.execute("DELETE FROM session WHERE digest = ?", (digest_of(key),))

    def end_all(self) -> None:
        """End all of them."""
        if self._path.exists():
            with opened(self._path) as file:
                file.execute("DELETE FROM session")


def digest_of(key: str) -> bytes:
    """What is kept of a key. It has 256 random bits: a fast digest is enough."""
    return hashlib.sha256(key.encode(errors="replace")).digest()


def _is_live(row: sqlite3.Row, now_ms: int) -> bool:
    return bool(now_ms - row["seen_ms"] < IDLE_MS and now_ms - row["made_ms"] < LONGEST_MS)


def _forget_the_old(file: sqlite3.Connection, now_ms: int) -> None:
    """Those that have ended, and of the rest all but the newest."""
    file.execute(
        "DELETE FROM session WHERE seen_ms <= ? OR made_ms <= ? OR digest IN "
        "(SELECT digest FROM session ORDER BY seen_ms DESC LIMIT -1 OFFSET ?)",
        (now_ms - IDLE_MS, now_ms - LONGEST_MS, _MOST - 1),
    )
