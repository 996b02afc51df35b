"""Is the file of the alarms whole? Every fault in one line; nothing is changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from enum import StrEnum
from pathlib import Path

from analysis.watch.alarm_file import speaking_of, version_of
from analysis.watch.outbox import Urgency
from analysis.watch.schema import STEPS
from analysis.watch.states import Cause, Kind, State
from collector.store.content_sums import sum_faults
from collector.store.sqlite_file import undo_half_done
from config.errors import StoreFault

_WORDS: tuple[tuple[str, type[StrEnum]], ...] = (
    ("SELECT DISTINCT kind FROM alarm", Kind),
    ("SELECT DISTINCT state FROM alarm", State),
    ("SELECT DISTINCT cause FROM transition", Cause),
    ("SELECT before FROM transition UNION SELECT after FROM transition", State),
    ("SELECT DISTINCT urgency FROM outbox", Urgency),
)
"""What the watch reads back must be one of its own words."""


def check_alarms(path: Path) -> list[str]:
    """SQLite's own faults, and words that nobody could have written; none without a file."""
    if not path.exists():
        return []
    uri = f"{path.absolute().as_uri()}?mode=ro"
    try:
        with speaking_of(path):
            undo_half_done(path)
        with (
            speaking_of(path),
            closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as file,
        ):
            if 0 < version_of(file, path) < len(STEPS):
                return [f"{path}: of an earlier version; start the watch to bring it up"]
            file.execute("BEGIN")  # one state of the file, while others write
            return [f"{path}: {line}" for line in (*_pages(file), *_strange(file))]
    except StoreFault as fault:
        return [str(fault)]


def _pages(file: sqlite3.Connection) -> Iterator[str]:
    for (text,) in file.execute("PRAGMA integrity_check(20)"):
        if text != "ok":
            yield from (f"SQLite says: {line}" for line in text.splitlines())
    for table, row, parent, _ in file.execute("PRAGMA foreign_key_check"):
        yield f"{table} row {row} names something that {parent} does not have"
    yield from sum_faults(file)


def _strange(file: sqlite3.Connection) -> Iterator[str]:
    if not file.execute("PRAGMA user_version").fetchone()[0]:
        return
    for query, words in _WORDS:
        known = {str(word) for word in words}
        for (word,) in file.execute(query):
            if word not in known:
                yield f"{word!r} is no {words.__name__.lower()} of an alarm"
