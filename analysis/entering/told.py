"""An entry of the history in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.change_words import KIND_WORDS, change_words
from analysis.entering.desk import Desk
from collector.book.history import Change

MANY: Final = 20
"""More changes than this together are an import: asked about before they are taken back."""
NAMED: Final = 3
"""So many changes are said one by one."""


def entry_words(it: Desk, changes: Sequence[Change]) -> str:
    """The first changes of an entry, and how many more it has."""
    said = "; ".join(said_of(it, one) for one in changes[:NAMED])
    return f"{said}; and {len(changes) - NAMED:,d} more" if len(changes) > NAMED else said


def said_of(it: Desk, change: Change) -> str:
    """One change."""
    return change_words(change, it.book.after(change), it.settings, it.now_ms)


def counted(changes: Sequence[Change]) -> str:
    """Many changes: how many of which kind."""
    counts: dict[str, int] = {}
    for one in changes:
        words = f"{one.action} {KIND_WORDS[one.kind]}"
        counts[words] = counts.get(words, 0) + 1
    return ", ".join(f"{words} × {count:,d}" for words, count in counts.items())
