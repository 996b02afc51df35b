"""Reading what can be read of a damaged SQLite file."""

from __future__ import annotations

import sqlite3
import zlib
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple


class Salvaged(NamedTuple):
    """Rows by key, and `twice` those of a key that another row has as well: damage made it so.

    Others may have been out of reach where `hidden` says. That is: between two keys, or before or
    behind one (None), or anywhere.
    """

    rows: list[tuple[Any, ...]]
    twice: list[tuple[Any, ...]]
    hidden: tuple[int | None, int | None] | None


class Strayed(NamedTuple):
    """A row that is not where its key belongs: what that is now, and the CRC-32 of what it has."""

    series: int
    day: int
    crc32: int


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


def strayed(file: sqlite3.Connection, table: str) -> set[Strayed]:
    """Rows of a table by series and day whose place says that their key is not what it was.

    Rows stand in the order of their keys: a day of one series that got the number of another stands
    among the days of its own.
    """
    key = ", ".join(f"CASE typeof({c}) WHEN 'integer' THEN {c} END" for c in ("series_id", "day"))
    found: set[Strayed] = set()
    for order in ("ASC", "DESC"):
        query = (
            f"SELECT {key}, CASE typeof(packed) WHEN 'blob' THEN packed END FROM {table} "  # noqa: S608  our names
            f"ORDER BY series_id {order}, day {order}"
        )
        rows = [
            Strayed(series, day, zlib.crc32(packed))
            for series, day, packed in _up_to_fault(file, query)  # an archive is larger than memory
            if None not in (series, day, packed)
        ]
        found |= astray(rows if order == "ASC" else rows[::-1])
    return found


def astray(rows: Sequence[Strayed]) -> set[Strayed]:
    """The fewest rows that have to go for the rest to be in the order of their keys."""
    in_order = _longest_in_order([(row.series, row.day) for row in rows])
    return {row for place, row in enumerate(rows) if place not in in_order}


def _longest_in_order(keys: Sequence[tuple[int, int]]) -> set[int]:
    """The places of a longest selection in which no key is below the one before."""
    ends: list[tuple[int, int]] = []  # of the selections of each length the lowest last key,
    last: list[int] = []  # where that stands,
    before: list[int | None] = []  # and for every place the one before it in its selection
    for place, one in enumerate(keys):
        length = bisect_right(ends, one)
        before.append(last[length - 1] if length else None)
        ends[length : length + 1], last[length : length + 1] = [one], [place]
    chosen: set[int] = set()
    at = last[-1] if last else None
    while at is not None:
        chosen.add(at)
        at = before[at]
    return chosen


def salvaged_series(
    file: sqlite3.Connection, columns: str
) -> tuple[dict[int, dict[tuple[Any, ...], int]], bool]:
    """The named series by number, from the table and from its index, which holds them again.

    Each name comes with how many of the two have it, the table's first. And whether that is all of
    them.
    """
    found: dict[int, dict[tuple[Any, ...], int]] = {}
    whole = True
    for source in ("series NOT INDEXED", "series INDEXED BY sqlite_autoindex_series_1"):
        query = f"SELECT id, {columns} FROM {source}"  # noqa: S608  our names
        ended, rows = _until_fault(file, query)
        whole = whole and ended
        for number, *name in rows:
            names = found.setdefault(number, {})
            names[tuple(name)] = names.get(tuple(name), 0) + 1
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


def _up_to_fault(file: sqlite3.Connection, query: str) -> Iterator[tuple[Any, ...]]:
    """Row after row, none of them kept, until the end or a fault."""
    try:
        yield from file.execute(query)
    except (sqlite3.DatabaseError, UnicodeDecodeError):  # as in sqlite_file
        return
