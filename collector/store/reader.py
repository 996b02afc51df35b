"""Journal and archive read as one, by any process, while the collector writes.

The journal is read before the archive: a reading that is sealed in between is seen in both, never
in neither. Where both have a reading of one time, the archive's stays, as it will in sealing.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from collector.readings import Reading, SeriesKey
from collector.store.archive import Span
from collector.store.columns import DAY_MS, Columns
from collector.store.sqlite_archive import SqliteArchive, Stored
from collector.store.tail import Tail
from config.errors import StoreFault

log = logging.getLogger("store")

_DAYS_REMEMBERED = 32
"""About 5 MB at a reading every 10 s: today and yesterday of sixteen series."""


class Packed(NamedTuple):
    """A window as the store keeps it: packed blocks of whole days, and what the journal adds.

    Where both have a reading of one time, the block's stays.
    """

    blocks: list[bytes]
    journal: Columns


@dataclass(frozen=True, slots=True)
class Stamps:
    """What tells whether readings of a series are still the same, without reading them.

    `days` have a block in the archive, in order, with its checksum in `crc32`; `journal_ms` is the
    time of the earliest reading that the journal adds.
    """

    days: list[int]
    crc32: list[int]
    journal_ms: int | None


class Reader:
    """Readings as soon as they are committed. Read-only; files that do not exist yet are empty.

    What is damaged is passed over like a gap, and said in the log; `check` names it. A file that
    cannot be read at all raises StoreFault. May be used from several threads, and for long.
    """

    def __init__(self, journal: Path, archive: Path) -> None:
        self._tail = Tail(journal)
        self._archive = SqliteArchive(archive, read_only=True)
        self._lock = threading.RLock()
        self._last: dict[SeriesKey, Reading] = {}
        self._said: set[tuple[SeriesKey, int]] = set()
        self._decoded: OrderedDict[tuple[SeriesKey, int, int], Columns] = OrderedDict()

    def series(self) -> dict[SeriesKey, Span]:
        """Every series that has readings."""
        with self._lock:
            tails = self._tail.columns()
            spans = self._archive.series()
            for key, tail in tails.items():
                if tail:
                    spans[key] = self._with_tail(key, spans.get(key), tail)
            return spans

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms)."""
        with self._lock:
            tail = self._tail.columns().get(key, Columns()).cut(start_ms, end_ms)
            return self._archived(key, start_ms, end_ms).merged(tail)

    def stamps(self) -> dict[SeriesKey, Stamps]:
        """What tells the readings of every series, by day."""
        with self._lock:
            tails = self._tail.columns()
            found = self._archive.checksums()
            return {
                key: Stamps(
                    *found.get(key, ([], [])),
                    journal_ms=tails[key].at_ms[0] if tails.get(key) else None,
                )
                for key in found.keys() | tails.keys()
            }

    def latest(self) -> dict[SeriesKey, Reading]:
        """The newest reading of every series, flagged or not. Cheap enough for every second."""
        with self._lock:
            newest = {
                key: next(tail.slice(len(tail) - 1, len(tail)).readings(key))
                for key, tail in self._tail.columns().items()
                if tail
            }
            for key, last_ms in self._archive.last_times().items():
                if key not in newest or newest[key].at_ms <= last_ms:
                    archived = self._last_archived(key, last_ms)
                    if archived and (key not in newest or archived.at_ms >= newest[key].at_ms):
                        newest[key] = archived
            return newest

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> Packed:
        """[start_ms, end_ms) undecoded; blocks hold whole days, so cut what is outside."""
        with self._lock:
            tail = self._tail.columns().get(key, Columns()).cut(start_ms, end_ms)
            stored = self._archive.stored(key, start_ms, end_ms)
            return Packed([one.packed for one in stored if self._whole(key, one)], tail)

    def close(self) -> None:
        """Let go of the files."""
        with self._lock:
            self._tail.close()
            self._archive.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _archived(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        stored = self._archive.stored(key, start_ms, end_ms)
        days = [self._day(key, one) for one in stored if self._whole(key, one)]
        return Columns.joined(days).cut(start_ms, end_ms)

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

    def _with_tail(self, key: SeriesKey, span: Span | None, tail: Columns) -> Span:
        first_ms, last_ms = tail.at_ms[0], tail.at_ms[-1]
        if span is None:
            return Span(len(tail), first_ms, last_ms)
        fresh = len(tail)
        if first_ms <= span.last_ms:
            fresh = len(tail.without(self._archived(key, first_ms, last_ms + 1)))
        return Span(span.count + fresh, min(span.first_ms, first_ms), max(span.last_ms, last_ms))

    def _last_archived(self, key: SeriesKey, last_ms: int) -> Reading | None:
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

    def _whole(self, key: SeriesKey, stored: Stored) -> bool:
        try:
            stored.verify()
        except StoreFault as fault:
            if (key, stored.day) not in self._said:
                self._said.add((key, stored.day))
                log.warning(
                    "%s %s, day %d since 1970: %s; run: warmcoil check",
                    key.probe, key.quantity, stored.day, fault,
                )  # fmt: skip
            return False
        return True
