"""Reading what can be read of a damaged SQLite file."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple


class Salvaged(NamedTuple):
    """Rows by key. Others may have been out of reach where `hidden` says.

    That is: between two keys, or before or behind one (None), or anywhere.
    """

    rows: list[tuple[Any, ...]]
    hidden: tuple[int | None, int | None] | None


class Table:
    """A table whose rows have a whole-numbered key, unique within `condition`.

    `columns` begins with the key; no key is outside `lowest` to `highest`.
    """

    def __init__(
        self, name: str, columns: str, *, lowest: int, highest: int, condition: str = "TRUE"
    ) -> None:
        key = columns.split(",", maxsplit=1)[0]
        select = f"SELECT {columns} FROM {name} WHERE {condition} AND {key}"  # noqa: S608  our names
        self._upwards = f"{select} >= ? ORDER BY {key}"
        self._downwards = f"{select} < ? ORDER BY {key} DESC"
        self._lowest = lowest
        self._highest = highest

    def rows(self, file: sqlite3.Connection) -> Salvaged:
        """Every row that can be reached.

        A spoilt page hides keys that stand together. Beyond it is found in strides that double;
        what a stride went past is then read backwards.
        """
        saved: dict[int, tuple[Any, ...]] = {}
        faults: list[int] = []
        at, stride = self._lowest, 1
        while True:
            ended, found = _until_fault(file, self._upwards, at)
            if faults and (found or ended):
                found += _until_fault(file, self._downwards, at)[1]
            new = {row[0]: row for row in found if row[0] not in saved}
            saved |= new
            if ended or at > self._highest:
                break
            at = max(new) + 1 if new else at
            faults.append(at)
            stride = 1 if new else 2 * stride
            at += stride - 1
        keys = sorted(saved)
        return Salvaged([saved[key] for key in keys], _around(faults, keys) if faults else None)


def _around(faults: list[int], keys: list[int]) -> tuple[int | None, int | None]:
    before = [key for key in keys if key < faults[0]]
    behind = [key for key in keys if key > faults[-1]]
    return (before[-1] if before else None, behind[0] if behind else None)


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
        cursor = file.execute(query, values)
        while (row := cursor.fetchone()) is not None:
            rows.append(row)
    except (sqlite3.DatabaseError, UnicodeDecodeError):  # as in sqlite_file
        return False, rows
    return True, rows
