"""A heater that weakens, or a warm side that sinks, over weeks. Pure.

While the thermostat switches, the share of the time that the warm side rises is the share that
the heater is on; the difference to the room over that share is what the heater could give if it
were always on: its strength. A heater that fails works harder for the same warm side, so that
its strength sinks while the warm side may not show anything yet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.enclosure_falls import downs
from analysis.enclosure_track import EnclosureTrack
from analysis.exposure import Floats
from analysis.statistics.trend import theil_sen
from analysis.words import DAY_MS

LEAST_WEEKS = 6
_MOST_STEP_MS = 150_000
"""Readings further apart than this miss the thermostat's switching."""
_LEAST_KNOWN = 0.8
_TURN_K = 0.25
_LEAST_SWITCHINGS = 4
_DUTIES = (0.2, 0.85)
"""Outside of these one of the two phases is as short as a probe's lag."""
_MATERIAL_SHARE = 0.1
_MATERIAL_K = 0.5


@dataclass(frozen=True, slots=True)
class Trend:
    """A change over weeks: per 30 days, with its 95 % interval, in `unit`.

    `sinking` only where the whole interval is below nothing and what it comes to matters.
    """

    per_30_days: float
    low: float
    high: float
    unit: str
    weeks: int
    sinking: bool


@dataclass(frozen=True, slots=True)
class Heater:
    """The heater's strength in K above the room, and how it and the warm side change."""

    strength_k: float | None
    strength: Trend | None
    warm_side: Trend | None


@dataclass(frozen=True, slots=True)
class _Day:
    day: int
    warm_c: float
    strength_k: float | None


def heater_of(track: EnclosureTrack) -> Heater:
    """What the days show. None where there are too few weeks, or no switching is seen."""
    days = list(_days(track))
    strengths = [(one.day, one.strength_k) for one in days if one.strength_k is not None]
    values = [value for _, value in strengths]
    middle = float(np.median(values)) if values else None
    return Heater(
        strength_k=middle,
        strength=_trend([(d, 100 * v / middle) for d, v in strengths], "%", 100 * _MATERIAL_SHARE)
        if middle
        else None,
        warm_side=_trend([(one.day, one.warm_c) for one in days], "K", _MATERIAL_K),
    )


def _days(track: EnclosureTrack) -> Iterator[_Day]:
    day = track.at_ms // DAY_MS
    edges = np.flatnonzero(np.diff(day, prepend=-1.0, append=np.inf))
    for first, last in pairwise(edges.tolist()):
        part = slice(first, last)
        steps = np.diff(track.at_ms[part])
        steps = steps[steps <= track.gap_ms]
        if not len(steps) or steps.sum() < _LEAST_KNOWN * DAY_MS:
            continue
        often = float(np.median(steps)) <= _MOST_STEP_MS
        strength = _strength(track, part) if often else None
        yield _Day(int(day[first]), float(np.median(track.warm_c[part])), strength)


def _strength(track: EnclosureTrack, part: slice) -> float | None:
    warm, room, at = track.warm_c[part], track.room_c[part], track.at_ms[part]
    if np.isnan(room).mean() > 1 - _LEAST_KNOWN:
        return None
    turns = list(downs(warm, _TURN_K))
    if len(turns) < _LEAST_SWITCHINGS:
        return None
    # From the first top to the last: whole cycles, of which the falls are without heat.
    span = float(at[turns[-1][0]] - at[turns[0][0]])
    off = sum(float(at[bottom] - at[top]) for top, bottom in turns[:-1])
    within = slice(turns[0][0], turns[-1][0])
    duty = 1 - off / span
    if not _DUTIES[0] <= duty <= _DUTIES[1]:
        return None
    return float(np.nanmean(warm[within] - room[within])) / duty


def _trend(points: Sequence[tuple[int, float]], unit: str, material: float) -> Trend | None:
    """The robust slope through the weeks' middles: days hang together, weeks much less."""
    weeks: dict[int, list[float]] = {}
    for day, value in points:
        weeks.setdefault(day // 7, []).append(value)
    kept = {week: values for week, values in weeks.items() if len(values) >= 3}
    if len(kept) < LEAST_WEEKS:
        return None
    x: Floats = np.array(sorted(kept), np.float64)
    slope = theil_sen(x.tolist(), [float(np.median(kept[int(week)])) for week in x])
    if slope is None or slope.low is None or slope.high is None:
        return None
    to_month, span = 30 / 7, float(x[-1] - x[0])
    return Trend(
        slope.slope * to_month,
        slope.low * to_month,
        slope.high * to_month,
        unit,
        len(kept),
        sinking=slope.high < 0 and -slope.slope * span >= material,
    )
