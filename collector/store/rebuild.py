"""A damaged journal or archive written anew: each function yields what is lost, in words."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable, Collection, Generator, Iterator, Mapping
from contextlib import closing
from itertools import chain
from pathlib import Path
from typing import Any, TypeVar

from collector.readings import Quantity, SeriesKey
from collector.store.check import in_day, name_of_day
from collector.store.codec import unpack
from collector.store.columns import DAY_MS, Columns
from collector.store.entry import unpack_entry
from collector.store.hours import Hour, unpack_hours
from collector.store.migrations import JOURNAL
from collector.store.salvage import Strayed, Table, salvaged_series, strayed
from collector.store.sqlite_archive import SqliteArchive
from collector.store.sqlite_file import open_for_writing
from config.errors import StoreFault

_HIGHEST = 2**40
"""Beyond any row's number and any day's."""
_OTHER_SERIES = "series, if there were others whose names cannot be read"
_OF_TABLE = {"block": "", "hours": " by the hour"}
_Kept = TypeVar("_Kept")
_QUANTITIES = frozenset(quantity.value for quantity in Quantity)


def rebuild_archive(file: sqlite3.Connection, new: Path) -> Iterator[str]:
    """Write every whole block of `file` into the archive `new`."""
    known = set()
    listed, all_of_them = salvaged_series(file, "probe, quantity")
    astray = {table: strayed(file, table) for table in _OF_TABLE}
    with closing(SqliteArchive(new)) as archive:
        for number, found in listed.items():
            name, lost = _likeliest(number, found)
            yield from lost
            if _sound(name):
                known.add(number)
                yield from _rebuild_series(file, number, name, archive, astray)
    yield from _of_nobody(file, known)
    if not all_of_them:
        yield _OTHER_SERIES


def rebuild_journal(file: sqlite3.Connection, new: Path) -> Iterator[str]:
    """Write every whole row of `file` into the journal `new`, under the number it had."""
    with closing(open_for_writing(new, JOURNAL, 0)) as journal:
        known = set()
        listed, all_of_them = salvaged_series(file, "probe, quantity, gain, shift")
        journal.execute("BEGIN")
        for number, found in listed.items():
            name, lost = _likeliest(number, found)
            yield from lost
            if _sound(name) and _listed(journal, number, name):
                known.add(number)
        salvaged = Table("entry", "id, packed", lowest=0, highest=_HIGHEST).rows(file)
        after = salvaged.rows[-1][0] + 1 if salvaged.rows else 1
        again = [(after + n, packed) for n, (_, packed) in enumerate(salvaged.twice)]
        for number, packed in [*salvaged.rows, *again]:
            if fault := _entry_fault(packed, known):
                yield f"row {number} of the journal: {fault}"
            else:
                journal.execute("INSERT INTO entry VALUES (?, ?)", (number, packed))
        journal.execute("COMMIT")
        if salvaged.hidden:
            yield f"rows of the journal, {_where(*salvaged.hidden, str)}"
        if not all_of_them:
            yield _OTHER_SERIES


def _rebuild_series(
    file: sqlite3.Connection,
    number: int,
    name: tuple[Any, ...],
    archive: SqliteArchive,
    astray: Mapping[str, Collection[Strayed]],
) -> Iterator[str]:
    probe, quantity = name
    key = SeriesKey(probe, Quantity(quantity))
    days = yield from _salvaged_days(
        file, "block", number, name, _whole_day, astray=astray["block"]
    )
    if days:
        archive.write({key: Columns.joined(days.values())})
    hours = yield from _salvaged_days(
        file, "hours", number, name, _whole_hours, astray=astray["hours"]
    )
    if hours:
        archive.write_hours(key, list(chain.from_iterable(hours.values())))


def _salvaged_days(
    file: sqlite3.Connection,
    table: str,
    number: int,
    name: tuple[Any, ...],
    whole: Callable[[int, object], _Kept | None],
    *,
    astray: Collection[Strayed],
) -> Generator[str, None, dict[int, _Kept]]:
    """The whole days of a series in a table, in order; yields what is lost, in words."""
    salvaged = Table(
        table, "day, packed", of=("series_id", number), lowest=-_HIGHEST, highest=_HIGHEST
    ).rows(file)
    what, found = f"{name[0]} {name[1]}{_OF_TABLE[table]}", dict[int, _Kept]()
    disputed = set[int]()
    for day, packed in [*salvaged.rows, *salvaged.twice]:
        named = f"{what}, {name_of_day(day)}"
        if isinstance(packed, bytes) and (number, day, zlib.crc32(packed)) in astray:
            yield f"a day that is called {named}, and does not stand where that would be"
        elif (kept := whole(day, packed)) is None:
            yield named
        elif day in disputed or found.setdefault(day, kept) is not kept:
            disputed.add(day)
    for day in sorted(disputed):
        del found[day]
        yield f"{what}, {name_of_day(day)}: more than one claims to be it"
    if salvaged.hidden:
        yield f"days of {what}, {_where(*salvaged.hidden, name_of_day)}"
    return dict(sorted(found.items()))


def _where(behind: int | None, before: int | None, name: Callable[[int], str]) -> str:
    """Where rows may have been that nothing could reach."""
    places = {"behind": behind, "before": before}
    said = [f"{word} {name(key)}" for word, key in places.items() if key is not None]
    return " ".join(["if there were others", " and ".join(said)]).rstrip()


def _whole_day(day: int, packed: object) -> Columns | None:
    # A block has a checksum of its own too: one that decodes is whole, even where the checksum in
    # its row is what was hit.
    if not isinstance(packed, bytes):
        return None
    try:
        columns = unpack(packed)
    except StoreFault:
        return None
    return columns if in_day(columns, day) else None


def _whole_hours(day: int, packed: object) -> list[Hour] | None:
    if not isinstance(packed, bytes):
        return None
    try:
        hours = unpack_hours(packed)
    except StoreFault:
        return None
    return hours if all(hour.start_ms // DAY_MS == day for hour in hours) else None


def _entry_fault(packed: object, known: set[int]) -> str | None:
    if not isinstance(packed, bytes):
        return "not what a row should be"
    try:
        rows, _ = unpack_entry(packed)
    except StoreFault as fault:
        return str(fault)
    strange = {row.series for row in rows} - known
    return f"nobody knows whose series {strange.pop()} is" if strange else None


def _likeliest(
    number: int, found: Mapping[tuple[Any, ...], int]
) -> tuple[tuple[Any, ...], list[str]]:
    """The name of a series; where table and index do not both have it, that is said."""
    sound = [name for name in found if _sound(name)] or list(found)
    if len(found) == 1 and _sound(sound[0]) and found[sound[0]] > 1:
        return sound[0], []
    names = " or ".join(f"{name[0]} {name[1]}" for name in found)
    if len(found) == 1:
        return sound[0], [f"what series {number} is called: {names}, which nothing confirms"]
    return sound[0], [f"what series {number} is called: {names}; the readings are under the first"]


def _sound(name: tuple[Any, ...]) -> bool:
    return isinstance(name[0], str) and name[1] in _QUANTITIES


def _listed(journal: sqlite3.Connection, number: int, name: tuple[Any, ...]) -> bool:
    try:
        journal.execute("INSERT INTO series VALUES (?, ?, ?, ?, ?)", (number, *name))
    except sqlite3.IntegrityError:
        return False  # damage made two series of one name: its rows are named as lost
    return True


def _of_nobody(file: sqlite3.Connection, known: set[int]) -> Iterator[str]:
    for table, kind in _OF_TABLE.items():
        # A number that damage made a text or a fraction is none, and a text may not be decodable.
        number = "CASE typeof(series_id) WHEN 'integer' THEN series_id END"
        query = f"SELECT {number}, count(*) FROM {table} GROUP BY 1"  # noqa: S608  our names
        try:
            rows = file.execute(query).fetchall()
        except sqlite3.DatabaseError:
            # Of each series that is known, it was said what is out of reach.
            yield f"days{kind} of other series, if there were any"
            continue
        for series, days in rows:
            said = f"{days} day{'s' if days > 1 else ''}{kind} of"
            if series is None:
                yield f"{said} a series that cannot be told"
            elif series not in known:
                yield f"{said} series {series}, whose name cannot be read"
