"""Reading what can be read of a damaged SQLite file."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple


class Salvaged(NamedTuple):
    """Rows by key, and `twice` those of a key that another row has as well: damage made it so.

    Others may have been out of reach where `hidden` says. That is: between two keys, or before or
    behind one (None), or anywhere.
    """

    rows: list[tuple[Any, ...]]
    twice: list[tuple[Any, ...]]
    hidden: tuple[int | None, int | None] | None


class Table:
    """A table whose rows have a whole-numbered key, unique within those where `of` holds.

    `of` is a column and its value; `columns` begins with the key; no key is outside `lowest` to
    `highest`.
    """

    def __init__(
        self,
        name: str,
        columns: str,
        *,
        lowest: int,
        highest: int,
        of: tuple[str, int] | None = None,
    ) -> None:
        key = columns.split(",", maxsplit=1)[0]
        wanted = f"{columns}, {of[0]}" if of else columns
        rows = f"SELECT {wanted} FROM {name} WHERE"  # noqa: S608  our names
        these = f"{of[0]} = {of[1]:d}" if of else "TRUE"
        self._upwards = f"{rows} {these} AND {key} >= ? ORDER BY {key}"
        self._downwards = f"{rows} {these} AND {key} < ? ORDER BY {key} DESC"
        # With a plus SQLite looks for no key: it goes from row to row.
        self._through = [
            f"{rows} +{these} ORDER BY {f'{of[0]}{order},' if of else ''} {key} {order}"
            for order in (" ASC", " DESC")
        ]
        self._of = of
        self._lowest = lowest
        self._highest = highest

    def rows(self, file: sqlite3.Connection) -> Salvaged:
        """Every row that can be reached.

        A spoilt page hides keys that stand together. Beyond it is found in strides that double;
        what a stride went past is then read backwards. A spoilt key misleads the search for others
        without any fault; so all rows are gone through as well, from both ends.
        """
        saved: dict[int, tuple[Any, ...]] = {}
        faults: list[int] = []
        at, stride = self._lowest, 1
        while True:
            ended, found = self._read(file, self._upwards, at)
            if faults and (found or ended):
                found += self._read(file, self._downwards, at)[1]
            new = {row[0]: row for row in found if self._is_key(row[0]) and row[0] not in saved}
            saved |= new
            if ended or at > self._highest:
                break
            at = max(new) + 1 if new else at
            faults.append(at)
            stride = 1 if new else 2 * stride
            at += stride - 1
        twice: list[tuple[Any, ...]] = []
        for query in self._through:
            for row in self._read(file, query)[1]:
                if self._is_key(row[0]) and row[0] not in saved:
                    saved[row[0]] = row
                    faults.append(row[0])
                elif row != saved.get(row[0]) and row not in twice:
                    twice.append(row)
        keys = sorted(saved)
        hidden = _around(faults, keys) if faults else None
        return Salvaged([saved[key] for key in keys], twice, hidden)

    def _read(
        self, file: sqlite3.Connection, query: str, *values: int
    ) -> tuple[bool, list[tuple[Any, ...]]]:
        # Where keys are out of order, a search by `of` gives rows of others too.
        ended, rows = _until_fault(file, query, *values)
        if self._of is not None:
            rows = [row[:-1] for row in rows if row[-1] == self._of[1]]
        return ended, rows

    def _is_key(self, key: object) -> bool:
        return isinstance(key, int) and self._lowest <= key <= self._highest


def _around(faults: list[int], keys: list[int]) -> tuple[int | None, int | None]:
    before = [key for key in keys if key < min(faults)]
    behind = [key for key in keys if key > max(faults)]
    return (before[-1] if before else None, behind[0] if behind else None)


def salvaged_series(
    file: sqlite3.Connection, columns: str
) -> tuple[dict[int, list[tuple[Any, ...]]], bool]:
    """The named series by number, from the table and from its index, which holds them again.

    More than one for a number: the two do not agree; the table's is first. And whether that is
    all of them.
    """
    found: dict[int, list[tuple[Any, ...]]] = {}
    whole = True
    for source in ("series NOT INDEXED", "series INDEXED BY sqlite_autoindex_series_1"):
        query = f"SELECT id, {columns} FROM {source}"  # noqa: S608  our names
        ended, rows = _until_fault(file, query)
        whole = whole and ended
        for number, *name in rows:
            names = found.setdefault(number, [])
            if tuple(name) not in names:
                names.append(tuple(name))
    return found, whole


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
