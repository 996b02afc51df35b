"""How far a meal is digested along a line of temperature: the model's integral in closed form.

On a straight piece from T0 to T1 over h hours the rate grows exponentially, so with
x = ln(Q10) / 10 × (T1 − T0) the piece digests h × rate(T0) × (e^x − 1) / x of the meal. Over gaps
nothing is counted: with gaps the progress is the least that was reached, and the moment it was
through the latest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.digestion import growth_per_c, rate_per_hour
from analysis.exposure import HOUR_MS, Floats, Line
from config.care import Digestion

_DAY_MS = 24 * HOUR_MS

SWING_KNOWN_HOURS = 12.0
"""A day counts for the swing when at least this much of it is known (our own choice)."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Share of the meal digested at the line's end (1: through), and when it was through."""

    share: float
    through_at_ms: float | None


def progress(line: Line, meal_pct: float, model: Digestion, *, factor: float = 1.0) -> Progress:
    """The progress of a meal of `meal_pct` % of body mass along a line in °C.

    `factor` lengthens the model's time (a daily swing). The temperature is taken at the profile's
    clamp where it is above it.
    """
    capped = _capped(line, model.clamp_c.value)
    if not len(capped):
        return Progress(0.0, None)
    growth = growth_per_c(model)
    fastest = rate_per_hour(meal_pct, model.clamp_c.value, model) / factor
    first = np.exp(growth * (capped.start_c - model.clamp_c.value))
    at_first = capped.length_ms / HOUR_MS * fastest * first
    x = growth * (capped.end_c - capped.start_c)
    gains = at_first * _mean_growth(x)
    total = float(gains.sum())
    return Progress(total, _reached(1.0, capped, gains, at_first, x) if total >= 1.0 else None)


def swing_factor(line: Line, start_ms: int, end_ms: int, model: Digestion) -> float:
    """What a daily swing of the warm side lengthens digestion by: the profile's factor, or 1.

    The swing is the mean, over the 24 h periods counted from the meal of which at least 12 h are
    known, of highest minus lowest. Without such a period there is no swing to speak of.
    """
    swings = []
    for day_ms in range(start_ms, end_ms, int(_DAY_MS)):
        day = line.cut(day_ms, min(day_ms + _DAY_MS, end_ms))
        if len(day) and day.known_hours >= SWING_KNOWN_HOURS:
            swings.append(float(day.high_c.max() - day.low_c.min()))
    if swings and sum(swings) / len(swings) >= model.swing_c.value:
        return model.swing_factor.value
    return 1.0


def _capped(line: Line, top_c: float) -> Line:
    """The line no higher than `top_c`, its pieces split where they pass it."""
    if not len(line) or line.high_c.max() <= top_c:
        return line
    crossing = (line.low_c < top_c) & (line.high_c > top_c)
    piece = np.repeat(np.arange(len(line)), 1 + crossing)
    second = np.zeros(len(piece), dtype=np.bool_)
    second[1:] = piece[1:] == piece[:-1]
    first = np.append(second[1:], False)
    start_ms, end_ms, start_c, end_c = (part[piece] for part in line.parts)
    share = (top_c - start_c[first]) / (end_c[first] - start_c[first])
    cut_ms = start_ms[first] + share * (end_ms[first] - start_ms[first])
    end_ms[first], end_c[first] = cut_ms, top_c
    start_ms[second], start_c[second] = cut_ms, top_c
    return Line(start_ms, end_ms, np.minimum(start_c, top_c), np.minimum(end_c, top_c))


def _mean_growth(x: Floats) -> Floats:
    """(e^x − 1) / x, which is 1 at x = 0."""
    growth = np.ones(len(x))
    moving = np.flatnonzero(x)  # many pieces are level where a probe counts in steps
    growth[moving] = np.expm1(x[moving]) / x[moving]
    return growth


def _reached(wanted: float, line: Line, gains: Floats, at_first: Floats, x: Floats) -> float:
    """When the sum of the gains reaches `wanted`, which it does: the integral inverted."""
    sums = np.cumsum(gains)
    i = min(int(np.searchsorted(sums, wanted)), len(sums) - 1)
    rest = wanted - (float(sums[i - 1]) if i else 0.0)
    linear = rest / float(at_first[i])
    share = float(np.log1p(linear * x[i]) / x[i]) if x[i] != 0.0 else linear
    return float(line.start_ms[i] + min(max(share, 0.0), 1.0) * line.length_ms[i])
