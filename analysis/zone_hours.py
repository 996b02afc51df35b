"""A zone by the hour, where its readings were thinned: for pictures and summaries, never a verdict.

Only hours that lie whole in a stay and a placement count. Of several probes the means of their
lowest, mean and highest values are given: the mean of their lines lies between the first and the
last of these.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.exposure import Floats, Line
from analysis.figures.reduce import Path
from analysis.tracks import Tracks
from analysis.zones import overlap, placed_along
from collector.book.records import Placement, Stay, Zone
from collector.readings import Quantity, SeriesKey
from collector.store.hours import HOUR_MS


@dataclass(frozen=True, eq=False)
class ZoneHours:
    """Hours in order: their beginnings in UTC ms, lowest, mean and highest value, known time."""

    start_ms: Floats
    low: Floats
    mean: Floats
    high: Floats
    known_ms: Floats

    def __len__(self) -> int:
        """How many there are."""
        return len(self.start_ms)

    def outside(self, line: Line | None) -> ZoneHours:
        """Those of which the line, from raw readings, says nothing."""
        if line is None or not len(line) or not len(self):
            return self
        # Pieces are in time order: the first that ends within or behind the hour decides.
        at = np.searchsorted(line.end_ms, self.start_ms, side="right")
        begins = np.append(line.start_ms, np.inf)[at]
        return self._taken(begins >= self.start_ms + HOUR_MS)

    def known_within(self, start_ms: float, end_ms: float) -> ZoneHours:
        """Those that begin in [start_ms, end_ms) and have more than lone readings."""
        begun = (self.start_ms >= start_ms) & (self.start_ms < end_ms)
        return self._taken(begun & (self.known_ms > 0))

    def _taken(self, which: NDArray[np.bool_]) -> ZoneHours:
        return ZoneHours(
            self.start_ms[which], self.low[which], self.mean[which], self.high[which],
            self.known_ms[which],
        )  # fmt: skip


NO_HOURS = ZoneHours(*np.empty((5, 0)))
"""Nothing was thinned."""


def zone_hours(
    zones: Zone | Collection[Zone],
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
    *,
    stays: Iterable[Stay],
    placements: Collection[Placement],
    tracks: Tracks,
) -> ZoneHours:
    """The thinned hours of the probes in `zones` that begin in [start_ms, end_ms)."""
    found: dict[int, list[tuple[float, float, float, float]]] = defaultdict(list)
    span = start_ms, end_ms + HOUR_MS - 1  # the last one may end behind `end_ms`
    for one, since, until in placed_along(zones, *span, stays=stays, placements=placements):
        first, end = overlap(one, since, until)
        for hour in tracks.hours(SeriesKey(one.probe, quantity), first, end - HOUR_MS + 1):
            if hour.low is not None and hour.mean is not None and hour.high is not None:
                found[hour.start_ms].append((hour.low, hour.mean, hour.high, hour.known_ms))
    rows = [(at, *np.mean(parts, axis=0)) for at, parts in sorted(found.items())]
    columns = np.array(rows, np.float64).reshape(-1, 5).T
    return ZoneHours(*columns)


def hour_paths(hours: ZoneHours) -> list[Path]:
    """Hours as a picture draws them: down to the lowest and up to the highest in each of them.

    So a path over many hours is the band between their extremes, as that of raw readings is.
    """
    if not len(hours):
        return []
    breaks = np.flatnonzero(np.diff(hours.start_ms) != HOUR_MS) + 1
    edges = [0, *breaks.tolist(), len(hours)]
    return [
        Path(
            np.append(np.repeat(start := hours.start_ms[a:b], 2), start[-1] + HOUR_MS)
            + np.append(np.tile([0.0, HOUR_MS / 2], b - a), 0.0),
            np.append(
                np.column_stack((hours.low[a:b], hours.high[a:b])).ravel(), hours.mean[b - 1]
            ),
        )
        for a, b in pairwise(edges)
    ]
