"""An enclosure's time constant, from the falls in its records. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

import numpy as np

from analysis.cooling_fall import Fall
from analysis.cooling_fit import Cooling, KnownTau, cooling_of
from analysis.cooling_limits import DEFAULT, Silence
from analysis.enclosure_track import MINUTE_MS, EnclosureTrack
from analysis.exposure import Floats
from analysis.least_squares import student_t
from analysis.words import HOUR_MS

LEAST_DEPTH_K = 1.0
LEAST_HOURS = 40 / 60
"""Shorter falls may be an opened door's, which are far faster."""
MOST_FALLS = 200
"""The newest: an enclosure changes with what stands in it."""
_SETTLED_K = 0.5
_BOTTOM_MS = 3 * MINUTE_MS
_FACTOR = 1.6
_NORMAL_95 = 1.959963984540054
_T_95 = (12.7062, 4.3027, 3.1824, 2.7764)
"""Student's t, 97.5 %, of 1 to 4 degrees of freedom: from memory, held against scipy by a test."""


@dataclass(frozen=True, slots=True)
class TimeConstant:
    """τ in h with its 95 % interval, from how many falls, and how many others were left aside."""

    tau_h: float
    low_h: float
    high_h: float
    falls: int
    aside: int

    @property
    def known(self) -> KnownTau:
        """As a forecast takes it."""
        spread = math.log(self.high_h / self.low_h) / (2 * _NORMAL_95)
        return KnownTau(self.tau_h, math.hypot(spread, DEFAULT.curve_ln_sd))


def time_constant(track: EnclosureTrack) -> TimeConstant | None:
    """From every fall of a degree or more towards the room; None where there is none to trust."""
    found = [cooling for fall in falls_of(track) if (cooling := _cooling(fall)) is not None]
    found = found[-MOST_FALLS:]
    if not found:
        return None
    middle = median(math.log(one.tau_h) for one in found)
    near = [one for one in found if abs(math.log(one.tau_h) - middle) <= math.log(_FACTOR)]
    if not near:
        return None
    logs = [math.log(one.tau_h) for one in near]
    mean, half = _pooled(logs, [math.hypot(one.ln_tau_se, 0.01) for one in near])
    return TimeConstant(
        math.exp(mean), math.exp(mean - half), math.exp(mean + half), len(near),
        len(found) - len(near),
    )  # fmt: skip


def _cooling(fall: Fall) -> Cooling | None:
    limits = replace(DEFAULT, most_tau_h=24.0, least_points=8, least_hours=LEAST_HOURS)
    found = cooling_of(fall, limits=limits)
    if fall.span_h < LEAST_HOURS or isinstance(found, Silence) or found.fall.room_c is None:
        return None
    return found


def _pooled(logs: Sequence[float], errors: Sequence[float]) -> tuple[float, float]:
    """Mean and half of its 95 % interval, where falls differ by more than their own errors.

    DerSimonian & Laird 1986 (Control. Clin. Trials 7:177), with the interval of Hartung & Knapp
    2001 (Stat. Med. 20:3875), never narrower than from the errors alone. Formulas from memory.
    """
    if len(logs) == 1:
        return logs[0], _NORMAL_95 * math.hypot(errors[0], DEFAULT.curve_ln_sd)
    weights = [1 / e**2 for e in errors]
    mean = _mean(logs, weights)
    q = sum(w * (x - mean) ** 2 for w, x in zip(weights, logs, strict=True))
    freedom, total = len(logs) - 1, sum(weights)
    between = max((q - freedom) / (total - sum(w * w for w in weights) / total), 0.0)
    weights = [1 / (e**2 + between) for e in errors]
    mean, total = _mean(logs, weights), sum(weights)
    spread = sum(w * (x - mean) ** 2 for w, x in zip(weights, logs, strict=True)) / freedom
    return mean, t_95(freedom) * math.sqrt(max(spread, 1.0) / total)


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def t_95(freedom: int) -> float:
    """The two-sided 95 % quantile of Student's t."""
    return _T_95[freedom - 1] if freedom <= len(_T_95) else student_t(_NORMAL_95, freedom)


# ---- falls ----------------------------------------------------------------------------------


def falls_of(track: EnclosureTrack) -> Iterator[Fall]:
    """Every fall of a degree or more with the room known all along, oldest first."""
    for first, last in _stretches(track):
        values = track.warm_c[first:last]
        for top, bottom in downs(values, _SETTLED_K):
            if values[top] - values[bottom] >= LEAST_DEPTH_K:
                fall = _fall(track, first + top, first + bottom)
                if fall is not None:
                    yield fall


def _stretches(track: EnclosureTrack) -> list[tuple[int, int]]:
    """Where readings come one after another."""
    breaks = np.flatnonzero(np.diff(track.at_ms) > track.gap_ms) + 1
    edges = [0, *breaks.tolist(), len(track)]
    return [(a, b) for a, b in pairwise(edges) if b - a >= 2]


def downs(values: Floats, turn_k: float) -> Iterator[tuple[int, int]]:
    """(top, bottom) of every fall; one ends where the value is `turn_k` above its lowest again."""
    top = bottom = 0
    for i, value in enumerate(values.tolist()):
        if value < values[bottom]:
            bottom = i
        elif value > values[bottom] + turn_k and bottom > top:
            yield top, bottom
            top = bottom = i
        elif value >= values[top] or (bottom == top and value > values[top]):
            top = bottom = i
    if bottom > top:
        yield top, bottom


def _fall(track: EnclosureTrack, top: int, bottom: int) -> Fall | None:
    under = np.flatnonzero(track.warm_c[top : bottom + 1] > track.warm_c[top] - _SETTLED_K)
    first = top + int(under[-1]) + 1
    end_ms = track.at_ms[bottom] - _BOTTOM_MS
    part = slice(first, int(np.searchsorted(track.at_ms, end_ms, side="right")))
    at_ms, room_c = track.at_ms[part], track.room_c[part]
    if len(at_ms) < 2 or np.isnan(room_c).any():
        return None
    part_c = track.warm_c[part]
    keep = slice(None, None, max(1, len(at_ms) // DEFAULT.most_points))
    hours = (at_ms - at_ms[0]) / HOUR_MS
    return Fall(
        float(at_ms[0]),
        tuple(hours[keep].tolist()),
        tuple(part_c[keep].tolist()),
        tuple(room_c[keep].tolist()),
    )
