"""Taking an entry back: what it changed becomes as it was before, and that is an entry too."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from collector.book import history, rules
from collector.book.history import Change
from collector.book.tables import BY_NAME
from config.errors import BadEntry, NotSo

if TYPE_CHECKING:
    from collector.book.book import Book


def to_take_back(connection: sqlite3.Connection, number: int | None) -> list[Change]:
    """The changes of the entry that holds change `number`, else of the last entry; oldest first.

    Raises NotSo where there is none, or where it was taken back already.
    """
    last = number if number is not None else history.last_entry(connection)
    if last is None:
        raise NotSo("there is nothing to take back")
    found = history.of_entry(connection, last)
    if not found:
        raise NotSo(f"no change {last} in the history; warmcoil history lists them")
    by = history.taken_back(connection).get(found[0].entry)
    if by is not None:
        raise NotSo(f"change {last} was taken back already, by change {by}")
    return found


def take_back(book: Book, connection: sqlite3.Connection, change: Change) -> None:
    """Put one record back as it was before `change`, inside a transaction of the book.

    Raises BadEntry when it was changed since, or when others need what was added.
    """
    now = book.at(change.kind, change.key)
    if now != history.after(connection, change):
        following = history.next_of(connection, change)
        since = following.number if following is not None else change.number
        why = f"{_called(change)} was changed since (change {since}): take that back first"
        raise BadEntry(f"{why}: warmcoil undo {since}", why=why)
    if change.record is not None:
        book.put(change.record)
    elif now is not None:
        book.remove(now)


def _called(change: Change) -> str:
    if change.kind == "meal":
        return f"meal {change.key['meal']}"
    known = change.record if change.record is not None else BY_NAME[change.kind].read(change.key)
    return rules.label(known)
