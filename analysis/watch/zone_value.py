"""The value of a zone along its readings: pure, and light.

At the time of each usable reading, the mean of the latest usable reading of every probe placed in
the zone then, each no older than the gap; a probe that has fallen silent for longer has no say.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean

from collector.book.records import Placement
from collector.readings import Flag
from collector.store.columns import Columns


@dataclass(frozen=True, slots=True)
class Placed:
    """The readings of one probe over (at least) a part of one placement."""

    placement: Placement
    columns: Columns


def zone_points(placed: Sequence[Placed], gap_ms: int, after_ms: int) -> list[tuple[int, float]]:
    """(time in ms, mean in °C) at each reading time after `after_ms`, in time order.

    Readings at or before `after_ms` still count towards the mean while they are fresh.
    """
    return [(at_ms, fmean(values)) for at_ms, values in _fresh_values(placed, gap_ms, after_ms)]


def zone_spans(
    placed: Sequence[Placed], gap_ms: int, after_ms: int
) -> list[tuple[int, float, float, int]]:
    """(time in ms, lowest, highest, how many probes) at each reading time after `after_ms`."""
    return [
        (at_ms, min(values), max(values), len(values))
        for at_ms, values in _fresh_values(placed, gap_ms, after_ms)
    ]


def _fresh_values(
    placed: Sequence[Placed], gap_ms: int, after_ms: int
) -> Iterator[tuple[int, list[float]]]:
    streams = [_usable(index, one) for index, one in enumerate(placed)]
    latest: dict[int, tuple[int, float]] = {}
    for at_ms, group in groupby(heapq.merge(*streams), key=lambda reading: reading[0]):
        for _, index, value in group:
            latest[index] = (at_ms, value)
        if at_ms > after_ms:
            yield at_ms, list(_fresh(placed, latest, gap_ms, at_ms))


def _usable(index: int, placed: Placed) -> Iterator[tuple[int, int, float]]:
    columns, placement = placed.columns, placed.placement
    for at_ms, value, flags in zip(columns.at_ms, columns.values(), columns.flags, strict=True):
        if flags == Flag.NONE and _covers(placement, at_ms):
            yield at_ms, index, value


def _fresh(
    placed: Sequence[Placed], latest: dict[int, tuple[int, float]], gap_ms: int, at_ms: int
) -> Iterable[float]:
    for index, (read_ms, value) in latest.items():
        if at_ms - read_ms <= gap_ms and _covers(placed[index].placement, at_ms):
            yield value


def _covers(placement: Placement, at_ms: int) -> bool:
    ended = placement.until_ms is not None and at_ms >= placement.until_ms
    return placement.since_ms <= at_ms and not ended
