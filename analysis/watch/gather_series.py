"""Series that say how far probes are to be believed: pure, and light.

Each value depends on the readings up to its own time alone.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence

from analysis.watch.states import MINUTE_MS
from analysis.watch.zone_value import Placed, zone_spans
from collector.readings import Flag
from collector.store.columns import Columns


def each_minute(points: Iterable[tuple[int, float]], after_ms: int) -> list[tuple[int, float]]:
    """The first point of every minute after that of `after_ms`: enough for what takes hours."""
    found, before = [], after_ms // MINUTE_MS
    for point in points:
        if point[0] // MINUTE_MS > before:
            before = point[0] // MINUTE_MS
            found.append(point)
    return found


def doubted_points(columns: Columns, over_ms: int, after_ms: int) -> list[tuple[int, float]]:
    """(ms, share): of the readings in the stretch before each one, how many are doubted.

    A stuck probe is a fault of its own, and not counted.
    """
    window: deque[tuple[int, bool]] = deque()
    doubted, points = 0, []
    for at_ms, flags in zip(columns.at_ms, columns.flags, strict=True):
        bad = bool(flags & ~Flag.STUCK)
        window.append((at_ms, bad))
        doubted += bad
        while window[0][0] <= at_ms - over_ms:
            doubted -= window.popleft()[1]
        if at_ms > after_ms:
            points.append((at_ms, doubted / len(window)))
    return points


def stuck_points(columns: Columns, after_ms: int) -> list[tuple[int, float]]:
    """(ms, 1 where the reading is flagged as stuck, else 0)."""
    return [
        (at_ms, float(bool(flags & Flag.STUCK)))
        for at_ms, flags in zip(columns.at_ms, columns.flags, strict=True)
        if at_ms > after_ms
    ]


def apart_points(placed: Sequence[Placed], gap_ms: int, after_ms: int) -> list[tuple[int, float]]:
    """(ms, K): how far apart the probes of a zone are; only where two or more read then."""
    spans = zone_spans(placed, gap_ms, after_ms)
    return [(at_ms, high - low) for at_ms, low, high, count in spans if count > 1]
