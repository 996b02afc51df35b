"""Lowest, mean, median and highest of a line, exact over its known time. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.exposure import Floats, Line

_SAMPLE = 512
_ROUNDING = 1e-12
"""Share of a time: more than a sum of shares of pieces is off by."""
_NEAR = (0.46, 0.54)
"""Shares of the sample between which its middle, and likely the line's, lies."""


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
    above = line.low_c[line.high_c > value]
    if not len(above) or (next_c := float(above.min())) <= value:
        return value  # the line goes on from it, so it alone has half of the time below
    held_ms = _Pieces(line.length_ms, line.low_c, line.high_c).held_ms(value)
    return (value + next_c) / 2.0 if abs(held_ms - half) <= _ROUNDING * half else value


def _smallest_holding(line: Line, wanted_ms: float) -> float:
    """The smallest value that `wanted_ms` of the line lie at or below.

    Halves the corners between two bounds, the lower never holding enough, the upper always, and
    drops the pieces that are settled: a pass or two over the line, and no sort of it. A corner that
    holds enough but for rounding does hold it: above it the line may begin again far away.
    """
    enough_ms = wanted_ms * (1.0 - _ROUNDING)
    lower, upper, left = _first_bounds(line, enough_ms)
    while True:
        left = left.narrowed(lower, upper)
        corners = np.concatenate((left.low, left.high))
        corners = corners[(corners > lower) & (corners < upper)]
        if not len(corners):
            break
        middle = _near_middle(corners)
        lower, upper = (lower, middle) if left.held_ms(middle) >= enough_ms else (middle, upper)
    if not len(left.low):
        return upper
    # Every piece left crosses from bound to bound: linear between them.
    missing_ms = wanted_ms - left.held_ms(lower)
    between_ms = float((left.length_ms * ((upper - lower) / (left.high - left.low))).sum())
    if between_ms - missing_ms <= wanted_ms - enough_ms:
        return upper
    return float(lower + (upper - lower) * (max(missing_ms, 0.0) / between_ms))


def _first_bounds(line: Line, wanted_ms: float) -> tuple[float, float, _Pieces]:
    """Bounds that are likely near, from a few of the pieces; certain, because they are tried."""
    whole = _Pieces(line.length_ms, line.low_c, line.high_c)
    some = np.sort((whole.low + whole.high)[:: 1 + len(line) // _SAMPLE] / 2.0)
    lower, upper = (float(some[int(len(some) * share)]) for share in _NEAR)
    near = whole.narrowed(lower, float(np.nextafter(upper, np.inf)))
    if near.held_ms(lower) < wanted_ms <= near.held_ms(upper):
        return lower, upper, near
    return -np.inf, float(whole.high.max()), whole


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Pieces of a line, and the time of those that were dropped because they lie below."""

    length_ms: Floats
    low: Floats
    high: Floats
    below_ms: float = 0.0

    def narrowed(self, lower: float, upper: float) -> _Pieces:
        """Those that matter to what a value of [lower, upper) holds.

        Sums of products, not `@`: on this many numbers that starts threads, which cost more. And
        not by a mask either: picking by one takes four times as long.
        """
        below = self.high <= lower
        left = np.flatnonzero(~below & (self.low < upper))
        below_ms = self.below_ms + float((self.length_ms * below).sum())
        return _Pieces(self.length_ms[left], self.low[left], self.high[left], below_ms)

    def held_ms(self, value: float) -> float:
        """The time of the pieces, and of those below them, at or below a value."""
        crossing = np.flatnonzero((self.low < value) & (value < self.high))
        low, high = self.low[crossing], self.high[crossing]
        part_ms = self.length_ms[crossing] * ((value - low) / (high - low))
        whole_ms = self.length_ms * (self.high <= value)
        return self.below_ms + float(whole_ms.sum()) + float(part_ms.sum())


def _near_middle(corners: Floats) -> float:
    """One of the corners, about as many of them above it as below."""
    some = np.sort(corners[:: 1 + len(corners) // _SAMPLE])
    return float(some[len(some) // 2])
