"""What weighings say: the trend with its uncertainty, what was lost from the peak, mass for length.

A meal of a tenth of the body weighs a tenth of the body: weighings with a meal still inside are set
aside, unless there are too few others. Pure; numpy only.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log
from operator import itemgetter
from statistics import fmean, median
from typing import Literal

import numpy as np

from analysis.statistics.trend import theil_sen
from analysis.window import DAY_MS, meal_window, taken_at_ms
from collector.book.records import Meal, Outcome, Weighing
from config.care import CareProfile

MONTH_DAYS = 365.25 / 12
"""A mean month."""

LEAST_CORRELATION = 0.8
"""Under this correlation of ln mass with ln length an exponent says nothing (our own choice)."""

Direction = Literal["rising", "falling", "steady", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Weight:
    """One mass, and whether a meal was still inside."""

    at_ms: int
    mass_g: float
    fed: bool


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of mass in % a month, by the robust slope of ln mass; None: too few for an interval.

    Source: Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379.
    """

    pct_month: float
    low_pct_month: float | None
    high_pct_month: float | None
    weighings: int
    days: float
    with_meal_inside: int
    direction: Direction


@dataclass(frozen=True, slots=True)
class Loss:
    """What was lost from the highest mass to the last one, in % of the highest; 0 at the peak."""

    peak_g: float
    peak_at_ms: int
    last_g: float
    last_at_ms: int
    pct: float


@dataclass(frozen=True, slots=True)
class ScaledMass:
    """Mass scaled to one length: M × (L0 / L)^b.

    b is the slope of ln M on ln L divided by their correlation, fitted to `records` weighings of
    `animals` animals of the keeper's own: none has been published for boas.

    Source: Peig & Green 2009, Oikos 118:1883 (formula from memory).
    """

    index_g: float
    at_ms: int
    length_cm: float
    """L0: the mean length of the records."""
    exponent: float
    correlation: float
    records: int
    animals: int
    of_median: float
    """The index over the median of all records': 1 is the middle of the keeper's own animals."""


def weights(
    weighings: Iterable[Weighing], meals: Sequence[Meal], care: CareProfile, now_ms: int
) -> list[Weight]:
    """One animal's masses up to now, the oldest first."""
    own = sorted(weighings, key=lambda one: one.at_ms)
    taken = sorted(
        ((at_ms, meal) for meal in meals if (at_ms := taken_at_ms(meal)) is not None),
        key=itemgetter(0),
    )
    inside = []
    for start_ms, meal in taken:
        after = bisect_right(taken, start_ms, key=itemgetter(0))
        following = [later for _, later in taken[after : after + 1]]
        inside.append((start_ms, _inside_until_ms(meal, following, own, care, now_ms)))
    return [
        Weight(one.at_ms, one.mass_g, any(a <= one.at_ms < b for a, b in inside))
        for one in own
        if one.mass_g is not None and one.mass_g > 0 and one.at_ms <= now_ms
    ]


def _inside_until_ms(
    meal: Meal,
    following: Sequence[Meal],
    weighings: Sequence[Weighing],
    care: CareProfile,
    now_ms: int,
) -> int:
    """Until when a meal weighs with the animal: its window's end, or when it was passed."""
    end_ms = meal_window(meal, following, weighings, care, now_ms + 1).end_ms
    if meal.outcome is Outcome.PASSED and meal.outcome_at_ms is not None:
        return min(end_ms, meal.outcome_at_ms)
    return end_ms


def trend(of: Sequence[Weight], care: CareProfile, now_ms: int) -> Trend | None:
    """The trend over the profile's last days; None with fewer than two masses apart."""
    recent = [one for one in of if one.at_ms > now_ms - care.condition.trend_days.value * DAY_MS]
    used = _rather_empty(recent, round(care.condition.least_weighings.value))
    slope = theil_sen([_months(one.at_ms) for one in used], [log(one.mass_g) for one in used])
    if slope is None:
        return None
    low, high = (_pct(end) if end is not None else None for end in (slope.low, slope.high))
    return Trend(
        pct_month=_pct(slope.slope),
        low_pct_month=low,
        high_pct_month=high,
        weighings=slope.points,
        days=(used[-1].at_ms - used[0].at_ms) / DAY_MS,
        with_meal_inside=sum(one.fed for one in used),
        direction=_direction(low, high, care.condition.grown_rise_pct_month.value),
    )


def loss(of: Sequence[Weight]) -> Loss | None:
    """What was lost from the peak; None where it was never weighed without a meal inside, for
    then a loss may be a meal. Of a full animal that is lighter still it is the least."""
    used = [one for one in of if not one.fed]
    if not used:
        return None
    peak, last = max(used, key=lambda one: one.mass_g), _last(of, used[-1])
    lost_pct = 100 * (peak.mass_g - last.mass_g) / peak.mass_g
    return Loss(peak.mass_g, peak.at_ms, last.mass_g, last.at_ms, lost_pct)


def body_now(of: Sequence[Weight], now_ms: int, longest_ms: int) -> Weight | None:
    """The body's mass at a moment by the weighings of the last `longest_ms`; None without one.

    The last one without a meal inside, where there is one, unless the animal weighed less since.
    """
    recent = [one for one in of if now_ms - longest_ms <= one.at_ms <= now_ms]
    if not recent:
        return None
    return _last(recent, _rather_empty(recent, 1)[-1])


def _last(of: Sequence[Weight], empty: Weight) -> Weight:
    """The last mass: a later one with a meal inside that is less still is surely less."""
    later = [one for one in of if one.at_ms > empty.at_ms and one.mass_g < empty.mass_g]
    return min(later, key=lambda one: one.mass_g, default=empty)


def scaled_mass(own: str, records: Sequence[Weighing], least: int) -> ScaledMass | None:
    """The scaled mass index of the animal `own` at its last record with a length.

    `records` are all weighings the exponent is fitted to, better without meals inside. None with
    fewer than `least` of them with mass and length, without one of this animal, or where mass does
    not go with length well enough to fit anything.
    """
    used = [one for one in records if (one.mass_g or 0) > 0 and (one.length_cm or 0) > 0]
    mine = [one for one in used if one.animal == own]
    if len(used) < max(3, least) or not mine:
        return None
    mass = np.array([one.mass_g for one in used], dtype=np.float64)
    length = np.array([one.length_cm for one in used], dtype=np.float64)
    if np.ptp(length) == 0 or np.ptp(mass) == 0:
        return None
    correlation = float(np.corrcoef(np.log(length), np.log(mass))[0, 1])
    if correlation < LEAST_CORRELATION:
        return None
    exponent = float(np.polyfit(np.log(length), np.log(mass), 1)[0]) / correlation
    at_length = fmean(length.tolist())
    indices = (mass * (at_length / length) ** exponent).tolist()
    last = max(mine, key=lambda one: one.at_ms)
    index_g = indices[used.index(last)]
    return ScaledMass(
        index_g=index_g,
        at_ms=last.at_ms,
        length_cm=at_length,
        exponent=exponent,
        correlation=correlation,
        records=len(used),
        animals=len({one.animal for one in used}),
        of_median=index_g / median(indices),
    )


def _rather_empty(of: Sequence[Weight], least: int) -> Sequence[Weight]:
    """Those without a meal inside, where there are enough of them; else all."""
    empty = [one for one in of if not one.fed]
    return empty if len(empty) >= least else of


def _direction(low: float | None, high: float | None, hardly: float) -> Direction:
    """Only what the whole interval says; steady when all of it is within `hardly` of nothing."""
    if low is None or high is None:
        return "cannot tell"
    if low > 0:
        return "rising"
    if high < 0:
        return "falling"
    return "steady" if low > -hardly and high < hardly else "cannot tell"


def _months(at_ms: int) -> float:
    return at_ms / (DAY_MS * MONTH_DAYS)


def _pct(log_change: float) -> float:
    return 100 * (exp(log_change) - 1)
