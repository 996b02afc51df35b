"""How the reader sees an archive: what is asked of it, and the answers of a file."""

from __future__ import annotations

import logging
from collections import OrderedDict
from pathlib import Path
from typing import Protocol

from collector.readings import Reading, SeriesKey
from collector.store.archive import Span
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import Hour
from collector.store.sqlite_archive import SqliteArchive, Stored
from config.errors import StoreFault

log = logging.getLogger("store")

_DAYS_REMEMBERED = 32
"""About 5 MB at a reading every 10 s: today and yesterday of sixteen series."""


class ReadArchive(Protocol):
    """An archive as a reader asks it, again and again. Raises StoreFault when it cannot answer."""

    def series(self) -> dict[SeriesKey, Span]:
        """Every series that has readings."""
        ...

    def last_times(self) -> dict[SeriesKey, int]:
        """The time of the newest reading of every series, in ms."""
        ...

    def last(self, key: SeriesKey, last_ms: int) -> Reading | None:
        """The newest readable reading of a series, which `last_times` says is of `last_ms`."""
        ...

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms)."""
        ...

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> tuple[list[bytes], Columns]:
        """The same undecoded where it is kept packed (whole days), else as columns."""
        ...

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms) of days that were thinned, in order."""
        ...

    def checksums(self) -> dict[SeriesKey, tuple[list[int], list[int]]] | None:
        """Of every series its days in order, and a checksum of each; None where there is none."""
        ...

    def renew(self) -> None:
        """Readings were sealed just now: an answer remembered from before may lack them."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


class SqliteReading:
    """A `ReadArchive` over the file. A damaged block is passed over, and said in the log."""

    def __init__(self, path: Path) -> None:
        self._archive = SqliteArchive(path, read_only=True)
        self._last: dict[SeriesKey, Reading] = {}
        self._said: set[tuple[SeriesKey, int]] = set()
        self._decoded: OrderedDict[tuple[SeriesKey, int, int], Columns] = OrderedDict()

    def series(self) -> dict[SeriesKey, Span]:
        """See `ReadArchive.series`."""
        return self._archive.series()

    def last_times(self) -> dict[SeriesKey, int]:
        """See `ReadArchive.last_times`."""
        return self._archive.last_times()

    def last(self, key: SeriesKey, last_ms: int) -> Reading | None:
        """The newest reading in a block that is whole; remembered until there is a newer one."""
        known = self._last.get(key)
        if known is not None and known.at_ms == last_ms:
            return known
        day = last_ms // DAY_MS + 1
        while stored := self._archive.last_day(key, day):
            if self._whole(key, stored):
                columns = stored.columns()
                last = columns.slice(len(columns) - 1, len(columns))
                self._last[key] = next(last.readings(key))
                return self._last[key]
            day = stored.day
        return None

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """See `ReadArchive.columns`."""
        stored = self._archive.stored(key, start_ms, end_ms)
        days = [self._day(key, one) for one in stored if self._whole(key, one)]
        return Columns.joined(days).cut(start_ms, end_ms)

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> tuple[list[bytes], Columns]:
        """See `ReadArchive.blocks`."""
        stored = self._archive.stored(key, start_ms, end_ms)
        return [one.packed for one in stored if self._whole(key, one)], Columns()

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """See `ReadArchive.hours`."""
        found: list[Hour] = []
        for one in self._archive.stored_hours(key, start_ms, end_ms):
            try:
                found += one.hours()
            except StoreFault as fault:
                self._say(key, one.day, fault)
        return [hour for hour in found if start_ms <= hour.start_ms < end_ms]

    def checksums(self) -> dict[SeriesKey, tuple[list[int], list[int]]] | None:
        """See `ReadArchive.checksums`."""
        return self._archive.checksums()

    def renew(self) -> None:
        """Nothing to do: each answer is of the file as it is."""

    def close(self) -> None:
        """Let go of the file."""
        self._archive.close()

    def _day(self, key: SeriesKey, stored: Stored) -> Columns:
        """A day decoded; the last ones are remembered, as a watch asks for the same each time."""
        name = (key, stored.day, stored.crc32)
        columns = self._decoded.pop(name, None)
        if columns is None:
            columns = stored.columns()
        self._decoded[name] = columns
        if len(self._decoded) > _DAYS_REMEMBERED:
            self._decoded.popitem(last=False)
        return columns

    def _whole(self, key: SeriesKey, stored: Stored) -> bool:
        try:
            stored.verify()
        except StoreFault as fault:
            self._say(key, stored.day, fault)
            return False
        return True

    def _say(self, key: SeriesKey, day: int, fault: StoreFault) -> None:
        if (key, day) not in self._said:
            self._said.add((key, day))
            log.warning(
                "%s %s, day %d since 1970: %s; run: warmcoil check",
                key.probe, key.quantity, day, fault,
            )  # fmt: skip
