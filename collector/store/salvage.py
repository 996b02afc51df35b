"""Reading what can be read of a damaged SQLite file."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any, NamedTuple


class Salvaged(NamedTuple):
    """Rows by key, and the first and last key between which others may have been out of reach."""

    rows: list[tuple[Any, ...]]
    doubtful: tuple[int, int] | None


class Table:
    """A table whose rows have a whole-numbered key, unique within `condition`.

    `columns` begins with the key. `lowest` and `highest` are where a key can be at all: only
    needed when no row can be reached from either end.
    """

    def __init__(
        self, name: str, columns: str, *, lowest: int, highest: int, condition: str = "TRUE"
    ) -> None:
        self._key = columns.split(",", maxsplit=1)[0]
        self._select = f"SELECT {columns} FROM {name} WHERE {condition}"  # noqa: S608  our names
        self._lowest = lowest
        self._highest = highest

    def rows(self, file: sqlite3.Connection) -> Salvaged:
        """Every row that can be read, by key: from the front, from the back, then one by one."""
        whole, front = _until_fault(file, f"{self._select} ORDER BY {self._key}")
        if whole:
            return Salvaged(front, None)
        _, back = _until_fault(file, f"{self._select} ORDER BY {self._key} DESC")
        first = front[-1][0] + 1 if front else self._lowest
        last = back[-1][0] - 1 if back else self._highest
        saved = {row[0]: row for row in (*front, *back)}
        saved |= {row[0]: row for row in self._one_by_one(file, first, last)}
        return Salvaged([saved[key] for key in sorted(saved)], (first, last))

    def _one_by_one(
        self, file: sqlite3.Connection, first: int, last: int
    ) -> Iterator[tuple[Any, ...]]:
        for key in range(first, last + 1):
            _, row = _until_fault(file, f"{self._select} AND {self._key} = ?", key)
            yield from row


def salvaged_series(file: sqlite3.Connection, columns: str) -> dict[int, list[tuple[Any, ...]]]:
    """The named series by number, from the table and from its index, which holds them again.

    More than one for a number: the two do not agree; the table's is first.
    """
    found: dict[int, list[tuple[Any, ...]]] = {}
    for source in ("series NOT INDEXED", "series INDEXED BY sqlite_autoindex_series_1"):
        query = f"SELECT id, {columns} FROM {source}"  # noqa: S608  our names
        for number, *name in _until_fault(file, query)[1]:
            names = found.setdefault(number, [])
            if tuple(name) not in names:
                names.append(tuple(name))
    return found


def _until_fault(
    file: sqlite3.Connection, query: str, *values: int
) -> tuple[bool, list[tuple[Any, ...]]]:
    """(True when it came to its end, the rows read)."""
    rows: list[tuple[Any, ...]] = []
    try:
        rows.extend(file.execute(query, values))
    except sqlite3.DatabaseError:
        return False, rows
    return True, rows
