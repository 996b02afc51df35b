"""Journal and archive read as one, by any process, while the collector writes.

The journal is read before the archive: a reading that is sealed in between is seen in both, never
in neither. Where both have a reading of one time, the archive's stays, as it will in sealing.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from collector.readings import Reading, SeriesKey
from collector.store.archive import Span
from collector.store.columns import Columns
from collector.store.hours import Hour
from collector.store.reading import ReadArchive, SqliteReading
from collector.store.tail import Tail


class Packed(NamedTuple):
    """A window as the store keeps it: packed blocks of whole days, and what is not packed.

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

    `archive` is the path of the file, or whatever else keeps the archive. What is damaged is
    passed over like a gap, and said in the log; `check` names it. What cannot be read at all
    raises StoreFault. May be used from several threads, and for long.
    """

    def __init__(self, journal: Path, archive: Path | ReadArchive) -> None:
        self._tail = Tail(journal)
        self._archive = SqliteReading(archive) if isinstance(archive, Path) else archive
        self._forgotten = 0
        self._lock = threading.RLock()

    def series(self) -> dict[SeriesKey, Span]:
        """Every series that has readings."""
        with self._lock:
            tails = self._journal()
            spans = self._archive.series()
            for key, tail in tails.items():
                if tail:
                    spans[key] = self._with_tail(key, spans.get(key), tail)
            return spans

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms)."""
        with self._lock:
            tail = self._journal().get(key, Columns()).cut(start_ms, end_ms)
            return self._archive.columns(key, start_ms, end_ms).merged(tail)

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms), in order, of days that were thinned.

        Where readings came for such a day later, `columns` has those as well.
        """
        with self._lock:
            return self._archive.hours(key, start_ms, end_ms)

    def stamps(self) -> dict[SeriesKey, Stamps] | None:
        """What tells the readings of every series, by day; None where the archive cannot say."""
        with self._lock:
            tails = self._journal()
            found = self._archive.checksums()
            if found is None:
                return None
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
                for key, tail in self._journal().items()
                if tail
            }
            for key, last_ms in self._archive.last_times().items():
                if key not in newest or newest[key].at_ms <= last_ms:
                    archived = self._archive.last(key, last_ms)
                    if archived and (key not in newest or archived.at_ms >= newest[key].at_ms):
                        newest[key] = archived
            return newest

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> Packed:
        """[start_ms, end_ms) undecoded; blocks hold whole days, so cut what is outside."""
        with self._lock:
            tail = self._journal().get(key, Columns()).cut(start_ms, end_ms)
            blocks, archived = self._archive.blocks(key, start_ms, end_ms)
            return Packed(blocks, archived.merged(tail))

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

    def _with_tail(self, key: SeriesKey, span: Span | None, tail: Columns) -> Span:
        first_ms, last_ms = tail.at_ms[0], tail.at_ms[-1]
        if span is None:
            return Span(len(tail), first_ms, last_ms)
        fresh = len(tail)
        if first_ms <= span.last_ms:
            fresh = len(tail.without(self._archive.columns(key, first_ms, last_ms + 1)))
        return Span(
            span.count + fresh,
            min(span.first_ms, first_ms),
            max(span.last_ms, last_ms),
            span.thinned,
        )

    def _journal(self) -> dict[SeriesKey, Columns]:
        columns = self._tail.columns()
        if self._tail.forgotten != self._forgotten:
            self._forgotten = self._tail.forgotten
            self._archive.renew()
        return columns
