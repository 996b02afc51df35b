"""Lowest, mean, median and highest of a line, exact over its known time. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.exposure import Floats, Line

_SAMPLE = 256


@dataclass(frozen=True, slots=True)
class Summary:
    """Four figures of a line, in its unit; each None where nothing is known."""

    low: float | None
    mean: float | None
    median: float | None
    high: float | None


def summary(line: Line) -> Summary:
    """The four figures. The mean weighs by time."""
    if not len(line):
        return Summary(None, None, None, None)
    area = float((line.length_ms * ((line.start_c + line.end_c) / 2.0)).sum())
    low, high = float(line.low_c.min()), float(line.high_c.max())
    # A mean of equal values is that value, whatever the rounding of a long sum.
    mean = min(max(area / line.known_ms, low), high)
    return Summary(low, mean, median(line), high)


def median(line: Line) -> float | None:
    """The value with half of the known time below it.

    The time below a value is piecewise linear in the value, so it can be inverted exactly. Where a
    whole range of values has half of the time below it, its middle; None when nothing is known.
    """
    if not len(line):
        return None
    half = line.known_ms / 2.0
    value = _smallest_holding(line, half)
    held = float((line.length_ms * _share_up_to(value, line.low_c, line.high_c)).sum())
    above = line.low_c[line.high_c > value]
    if len(above) and abs(held - half) <= 1e-12 * half:
        return (value + max(value, float(above.min()))) / 2.0
    return value


def _smallest_holding(line: Line, wanted_ms: float) -> float:
    """The smallest value that `wanted_ms` of the line lie at or below.

    Halves the corners between two bounds, the lower never holding enough, the upper always, and
    drops the pieces that are settled: a few passes over the line, and no sort of it.
    """
    length, low, high = line.length_ms, line.low_c, line.high_c
    lower, upper, settled_ms = *_first_bounds(line, wanted_ms), 0.0
    while True:
        open_ = (high > lower) & (low < upper)
        settled_ms += float(length[high <= lower].sum())
        length, low, high = length[open_], low[open_], high[open_]
        corners = np.concatenate((low, high))
        corners = corners[(corners > lower) & (corners < upper)]
        if not len(corners):
            break
        middle = _near_middle(corners)
        held_ms = settled_ms + float((length * _share_up_to(middle, low, high)).sum())
        lower, upper = (lower, middle) if held_ms >= wanted_ms else (middle, upper)
    if not len(low):
        return upper
    # Every piece left crosses from bound to bound: linear between them.
    missing_ms = wanted_ms - settled_ms - float((length * _share_up_to(lower, low, high)).sum())
    between_ms = float((length * ((upper - lower) / (high - low))).sum())
    return float(min(lower + (upper - lower) * (missing_ms / between_ms), upper))


def _first_bounds(line: Line, wanted_ms: float) -> tuple[float, float]:
    """Bounds that are likely near, from a few of the pieces; certain, because they are tried."""
    lower, upper = -np.inf, float(line.high_c.max())
    some = np.sort(line.low_c[:: 1 + len(line) // _SAMPLE])
    for guess in (float(some[int(len(some) * share)]) for share in (0.4, 0.6)):
        held_ms = float((line.length_ms * _share_up_to(guess, line.low_c, line.high_c)).sum())
        lower, upper = (lower, min(upper, guess)) if held_ms >= wanted_ms else (guess, upper)
    return lower, upper


def _near_middle(corners: Floats) -> float:
    """One of the corners, about as many of them above it as below."""
    some = np.sort(corners[:: 1 + len(corners) // _SAMPLE])
    return float(some[len(some) // 2])


def _share_up_to(value: float, low: Floats, high: Floats) -> Floats:
    """Share of each piece at or below a value."""
    share = (high <= value).astype(np.float64)
    crossing = (low < value) & (value < high)
    share[crossing] = (value - low[crossing]) / (high[crossing] - low[crossing])
    return share
