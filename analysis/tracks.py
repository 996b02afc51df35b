"""Usable readings by UTC day, decoded once while windows that share days are looked at.

Bounded: beyond `most_readings` the days used longest ago are forgotten. A `Tracks` shows the store
as it was when a day was first asked for, so make a new one for every review.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator

import numpy as np

from analysis.exposure import Floats
from analysis.frames import track
from collector.readings import Quantity, SeriesKey
from collector.store.hours import Hour
from collector.store.reader import Reader

_DAY_MS = 86_400_000
_Readings = tuple[Floats, Floats]

MOST_READINGS = 2_000_000
"""32 MB of times and values."""


class Tracks:
    """What a review asks of the readings. `held` is how many it keeps decoded."""

    def __init__(self, reader: Reader, *, most_readings: int = MOST_READINGS) -> None:
        self._reader = reader
        self._most = most_readings
        self.held = 0
        self._days: OrderedDict[tuple[SeriesKey, int], _Readings] = OrderedDict()
        self._quantities: dict[str, set[Quantity]] = {}
        self._thinned: set[SeriesKey] = set()
        for key, span in reader.series().items():
            self._quantities.setdefault(key.probe, set()).add(key.quantity)
            if span.thinned:
                self._thinned.add(key)

    def measures(self, probe: str, quantity: Quantity) -> bool:
        """True when the probe is one for this quantity.

        A probe that has never been heard of is taken for a thermometer, which most are.
        """
        known = self._quantities.get(probe, {Quantity.TEMPERATURE})
        return quantity in known

    def readings(self, key: SeriesKey, start_ms: int, end_ms: int) -> _Readings:
        """Times in ms and values of the usable readings of [start_ms, end_ms), in time order."""
        if end_ms <= start_ms or key.quantity not in self._quantities.get(key.probe, ()):
            return np.empty(0), np.empty(0)
        days = range(start_ms // _DAY_MS, (end_ms - 1) // _DAY_MS + 1)
        parts = list(self._of_days(key, days))
        at_ms, value = (np.concatenate(part) for part in zip(*parts, strict=True))
        first, end = np.searchsorted(at_ms, (start_ms, end_ms))
        return at_ms[first:end], value[first:end]

    def thinned(self, key: SeriesKey) -> bool:
        """True when some days of a series are kept by the hour alone."""
        return key in self._thinned

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms) of days that were thinned, in order."""
        return self._reader.hours(key, start_ms, end_ms) if self.thinned(key) else []

    def _of_days(self, key: SeriesKey, days: range) -> Iterator[_Readings]:
        have = {day: self._days[key, day] for day in days if (key, day) in self._days}
        for missing in _runs([day for day in days if day not in have]):
            have.update(self._fetched(key, missing))
        for day in days:
            self._keep((key, day), have[day])
            yield have[day]

    def _fetched(self, key: SeriesKey, days: range) -> Iterator[tuple[int, _Readings]]:
        fetched = track(self._reader, key, days.start * _DAY_MS, days.stop * _DAY_MS)
        at_ms, value = fetched.at_ms.astype(np.float64), fetched.value
        edges = np.searchsorted(at_ms, [day * _DAY_MS for day in (*days, days.stop)])
        for day, first, end in zip(days, edges, edges[1:], strict=False):
            # Copies: a day that stays must not hold the whole fetch in memory.
            yield day, (at_ms[first:end].copy(), value[first:end].copy())

    def _keep(self, name: tuple[SeriesKey, int], readings: _Readings) -> None:
        if name not in self._days:
            self.held += len(readings[0])
        self._days[name] = readings
        self._days.move_to_end(name)
        while self.held > self._most:
            _, (at_ms, _) = self._days.popitem(last=False)
            self.held -= len(at_ms)


def _runs(days: list[int]) -> Iterator[range]:
    """Days in order as ranges without holes."""
    first = 0
    for i in range(1, len(days) + 1):
        if i == len(days) or days[i] != days[i - 1] + 1:
            yield range(days[first], days[i - 1] + 1)
            first = i
