"""An InfluxDB as a reader asks it: every few seconds the same, by processes that must go on.

What was just read is remembered for half a minute, and given up when the journal has let go of
rows. `patient` readers (collect, watch) go on without a server that cannot be used: the journal
alone speaks, which holds everything since the server was last well, and the rest reads like a
gap, as it is said in the log. For all others that is a fault: no verdict without its readings.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import TypeVar

from collector.readings import Reading, SeriesKey
from collector.store.archive import ArchiveDown, Span
from collector.store.columns import Columns
from collector.store.hours import Hour
from collector.store.influx_archive import InfluxArchive

log = logging.getLogger("store")

FRESH_S = 30.0
_SPANS_FRESH_S = 300.0
_AGAIN_AFTER_S = 30.0
"""A server that does not answer costs its whole time limit: not for every series of a round."""
_LATE_MS = 2 * 3_600_000
_WINDOWS_REMEMBERED = 128

_Answer = TypeVar("_Answer")


class InfluxReading:
    """A `ReadArchive` over a server."""

    def __init__(
        self,
        archive: InfluxArchive,
        *,
        patient: bool,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._archive = archive
        self._patient = patient
        self._monotonic = monotonic
        self._windows: dict[SeriesKey, tuple[float, int, int, Columns]] = {}
        self._spans: tuple[float, dict[SeriesKey, Span]] | None = None
        self._newest: tuple[float, dict[SeriesKey, int]] | None = None
        self._last: dict[SeriesKey, Reading] = {}
        self._down_until_s: float | None = None
        self._fault = ""

    def series(self) -> dict[SeriesKey, Span]:
        """See `ReadArchive.series`; counting years of readings takes seconds, so for minutes."""
        if self._spans is None or self._old(self._spans[0], _SPANS_FRESH_S):
            spans = self._asked(self._archive.series)
            if spans is None:
                return {}
            self._spans = (self._monotonic(), spans)
        return dict(self._spans[1])

    def last_times(self) -> dict[SeriesKey, int]:
        """See `ReadArchive.last_times`. Of a series long silent, what comes late is seen late."""
        if self._newest is None:
            found = self._asked(self._archive.last_times)
            if found is None:
                return {}
            self._newest = (self._monotonic(), found)
        elif self._old(self._newest[0], FRESH_S):
            known = self._newest[1]
            since_ms = max(known.values(), default=_LATE_MS) - _LATE_MS
            found = self._asked(lambda: self._archive.last_times(since_ms))
            self._newest = (self._monotonic(), {**known, **(found or {})})
        return self._newest[1]

    def last(self, key: SeriesKey, last_ms: int) -> Reading | None:
        """See `ReadArchive.last`."""
        known = self._last.get(key)
        if known is None or known.at_ms != last_ms:
            columns = self._asked(lambda: self._archive.columns(key, last_ms, last_ms + 1))
            known = next(columns.readings(key), known) if columns is not None else known
            if known is not None:
                self._last[key] = known
        return known

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """See `ReadArchive.columns`."""
        known = self._windows.get(key)
        if known is not None and not self._old(known[0], FRESH_S):
            _, from_ms, until_ms, columns = known
            # A watch asks up to now, and its now goes on: what is newer is in the journal.
            if from_ms <= start_ms and end_ms <= until_ms + FRESH_S * 1000:
                return columns.cut(start_ms, end_ms)
        read = self._asked(lambda: self._archive.columns(key, start_ms, end_ms))
        if read is None:
            return known[3].cut(start_ms, end_ms) if known is not None else Columns()
        if len(self._windows) >= _WINDOWS_REMEMBERED:
            self._windows.clear()
        self._windows[key] = (self._monotonic(), start_ms, end_ms, read)
        return read.cut(start_ms, end_ms)

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> tuple[list[bytes], Columns]:
        """See `ReadArchive.blocks`: nothing is packed here."""
        return [], self.columns(key, start_ms, end_ms)

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """See `ReadArchive.hours`."""
        return self._asked(lambda: self._archive.hours(key, start_ms, end_ms)) or []

    def checksums(self) -> dict[SeriesKey, tuple[list[int], list[int]]] | None:
        """None: a server keeps none, and to count them would be to read everything."""
        return None

    def renew(self) -> None:
        """See `ReadArchive.renew`."""
        self._windows = {
            key: (-1e18, start_ms, end_ms, columns)
            for key, (_, start_ms, end_ms, columns) in self._windows.items()
        }
        self._spans = None
        if self._newest is not None:
            self._newest = (-1e18, self._newest[1])

    def close(self) -> None:
        """Let go of the server."""
        self._archive.close()

    def _old(self, since_s: float, fresh_s: float) -> bool:
        return self._monotonic() - since_s > fresh_s

    def _asked(self, ask: Callable[[], _Answer]) -> _Answer | None:
        """The server's answer; None where a patient reader has to do without."""
        if self._down_until_s is not None and self._monotonic() < self._down_until_s:
            if not self._patient:
                raise ArchiveDown(self._fault)
            return None
        try:
            answer = ask()
        except ArchiveDown as fault:
            if str(fault) != self._fault and self._patient:
                log.warning("%s; the journal alone is read until it is back", fault)
            self._fault = str(fault)
            self._down_until_s = self._monotonic() + _AGAIN_AFTER_S
            if not self._patient:
                raise
            return None
        if self._down_until_s is not None and self._patient:
            log.info("%s is back", self._archive.name)
        self._down_until_s, self._fault = None, ""
        return answer
