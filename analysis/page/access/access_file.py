"""The file `page.db`: sessions and tokens, as digests only, and the key of the forms' tokens.

Only its owner may read it. It is made when something first has to be kept.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from config.errors import StoreFault

_WAIT_SECONDS = 5.0
_TABLES = (
    """CREATE TABLE IF NOT EXISTS session (
        digest BLOB PRIMARY KEY NOT NULL,
        passphrase TEXT NOT NULL,
        made_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE IF NOT EXISTS token (
        name TEXT PRIMARY KEY NOT NULL,
        digest BLOB NOT NULL UNIQUE,
        made_ms INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE IF NOT EXISTS secret (
        name TEXT PRIMARY KEY NOT NULL, value BLOB NOT NULL
    ) STRICT""",
)


def access_path(folder: Path) -> Path:
    """Where it lies in a home."""
    return folder / "page.db"


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """The file, open, in one transaction that is done at the end. Raises StoreFault."""
    try:
        if not path.exists():
            os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
        with closing(sqlite3.connect(path, timeout=_WAIT_SECONDS, isolation_level=None)) as file:
            file.row_factory = sqlite3.Row
            _prepare(file)
            file.execute("BEGIN IMMEDIATE")
            yield file
            file.execute("COMMIT")
    except sqlite3.DatabaseError as fault:
        raise StoreFault(
            f"{path}: {fault}; see that it can be written, or move it away: then log in again"
        ) from fault
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror}") from fault


def _prepare(file: sqlite3.Connection) -> None:
    if file.execute("PRAGMA user_version").fetchone()[0] < 1:
        for table in _TABLES:
            file.execute(table)
        file.execute("PRAGMA user_version = 1")
