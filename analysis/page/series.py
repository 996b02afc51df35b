"""A probe's readings over any span, reduced to what a picture so many columns wide shows.

Of each column the first, lowest, highest and last reading stay, and nothing is averaged or skipped;
so the deepest dip of a year is there, at its depth. Days are fetched one after the other, so that
a year of a probe takes no more memory than a day.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from analysis.figures.reduce import Floats, Path, reduced
from analysis.frames import track
from collector.readings import SeriesKey
from collector.store.columns import DAY_MS
from collector.store.hours import HOUR_MS, Hour
from collector.store.reader import Reader


def probe_series(
    reader: Reader, key: SeriesKey, start_ms: int, end_ms: int, *, columns: int, gap_ms: float
) -> list[Path]:
    """The usable readings of [start_ms, end_ms) as unbroken stretches: in none of them are
    two neighbours further apart than `gap_ms`. A reading without one so near is a stretch alone."""
    parts: list[Path] = []
    breaks: list[Floats] = []
    last_ms = -np.inf
    for day in _days(reader, key, start_ms, end_ms):
        apart = np.diff(day.at_ms, prepend=last_ms) > gap_ms
        breaks.append(day.at_ms[apart])
        parts.append(reduced(day, start_ms, end_ms, columns))
        last_ms = float(day.at_ms[-1])
    if not parts:
        return []
    whole = Path(*(np.concatenate(part) for part in zip(*map(_both, parts), strict=True)))
    # A column that two days share was reduced in halves: the halves together, once more.
    return _broken(reduced(whole, start_ms, end_ms, columns), np.concatenate(breaks))


def probe_hours(
    reader: Reader, key: SeriesKey, start_ms: int, end_ms: int, *, columns: int
) -> list[tuple[int, float, float, float]]:
    """The thinned hours that begin in [start_ms, end_ms): when, lowest, mean, highest; so many
    together that there are about as many as `columns` at most. UTC ms, °C, %RH or V."""
    together_ms = max(1, round((end_ms - start_ms) / columns / HOUR_MS)) * HOUR_MS
    parts: dict[int, list[Hour]] = {}
    for hour in reader.hours(key, start_ms, end_ms):
        if hour.readings:
            parts.setdefault(hour.start_ms // together_ms, []).append(hour)
    return [_together(part) for part in parts.values()]


def _together(hours: list[Hour]) -> tuple[int, float, float, float]:
    lows, means, highs = (
        [value for value in values if value is not None]
        for values in zip(*((one.low, one.mean, one.high) for one in hours), strict=True)
    )
    # Lone readings have no known time: they count among each other alone.
    weights = [one.known_ms for one in hours]
    mean = np.average(means, weights=weights if any(weights) else None)
    return hours[0].start_ms, min(lows), float(mean), max(highs)


def _days(reader: Reader, key: SeriesKey, start_ms: int, end_ms: int) -> Iterator[Path]:
    span = reader.series().get(key)
    if span is None:
        return
    first, last = max(start_ms, span.first_ms), min(end_ms, span.last_ms + 1)
    for day in range(first // DAY_MS, -(-last // DAY_MS)):
        found = track(reader, key, max(first, day * DAY_MS), min(last, (day + 1) * DAY_MS))
        if len(found.at_ms):
            yield Path(found.at_ms.astype(np.float64), found.value)


def _both(path: Path) -> tuple[Floats, Floats]:
    return path.at_ms, path.value


def _broken(path: Path, breaks: Floats) -> list[Path]:
    """The path cut wherever a break lies between two of its points: at the first reading behind."""
    before = np.searchsorted(breaks, path.at_ms, side="right")
    edges = [0, *(np.flatnonzero(np.diff(before)) + 1).tolist(), len(path.at_ms)]
    return [Path(path.at_ms[a:b], path.value[a:b]) for a, b in pairwise(edges)]
