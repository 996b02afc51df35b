"""When a meal is through if the animal lay on the cool side all along: the cautious end. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from itertools import groupby

from analysis import words
from analysis.digestion import rate_per_hour
from analysis.exposure import NOTHING, Line
from analysis.progress import progress
from analysis.window import DAY_MS, HOUR_MS, body_mass_g, meal_pct, taken_at_ms
from collector.book.records import Meal, Outcome, Weighing
from config.care import CareProfile

KNOWN_HOURS = 24.0
"""Over this much of the cool side known, its own pace is taken for the time to come (our own
choice); under it, that of the profile's cool side."""

LONGEST_DAYS = 60
"""Longer than any meal lies inside an animal that lives (our own choice)."""


@dataclass(frozen=True, slots=True)
class Digesting:
    """A meal that may still be inside, and the lines since it was taken.

    `pct` is the meal in % of body mass, None where unknown; `cool` and `warm` the two sides' lines,
    None without a probe; `factor` what a daily swing lengthens the model's time by.
    """

    at_ms: int
    pct: float | None
    cool: Line | None = None
    warm: Line | None = None
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Through:
    """When a meal is through on the cool side; `share` by now, 1 or more once it is."""

    at_ms: float
    share: float
    assumed_hours: float
    """Hours for which the cool side's temperature is not known but taken."""


def inside(meals: Iterable[Meal], now_ms: int, zone: tzinfo) -> list[list[Meal]]:
    """The meals that may still be inside at a moment, oldest first, those of one day together.

    Those taken since the last one that was passed, without any that came back.
    """
    earliest_ms = now_ms - LONGEST_DAYS * DAY_MS
    taken = sorted(
        (meal for meal in meals if earliest_ms <= _at(meal) <= now_ms), key=_at, reverse=True
    )
    found: list[Meal] = []
    for meal in taken:
        if meal.outcome is Outcome.PASSED:
            break
        if meal.outcome is None or not meal.outcome.came_back:
            found.append(meal)
    days = groupby(found[::-1], key=lambda meal: words.local_day_of(_at(meal), zone))
    return [list(of_day) for _, of_day in days]


def pct_of(of_day: Sequence[Meal], weighings: Sequence[Weighing]) -> float | None:
    """What was taken on one day in % of body mass; None where the size of any is not known."""
    total = 0.0
    for meal in of_day:
        pct = meal_pct(meal, body_mass_g(weighings, _at(meal)))
        if pct is None:
            return None
        total += pct
    return total


def through_at(of: Digesting, care: CareProfile, now_ms: int) -> Through:
    """When a meal is through at the cool side's temperatures.

    Hours without a reading there count at the low end of the profile's cool side, or at what the
    warm side read where that was colder still. What is still missing goes on at the cool side's
    pace so far, where enough of it is known, else at the slower of the low end's and of the pace
    so far. A meal of unknown size counts as the model's reference meal. Honest accuracy: ±25 % at
    25-30 °C, ±50 % below 22 °C.
    """
    model = care.digestion
    pct = of.pct if of.pct is not None else model.reference_meal_pct.value
    cool = of.cool.cut(of.at_ms, now_ms) if of.cool is not None else NOTHING
    known = progress(cool, pct, model, factor=of.factor)
    assumed_h = max(0.0, (now_ms - of.at_ms) / HOUR_MS - cool.known_hours)
    share = known.share + sum(_unseen(of, cool, pct, care, now_ms))
    if known.through_at_ms is not None:  # by what is known alone: a moment that stays the same
        return Through(known.through_at_ms, share, assumed_h)
    if cool.known_hours >= KNOWN_HOURS:
        pace = known.share / cool.known_hours
    else:
        pace = _slow_pace(of, share, pct, care, now_ms)
    return Through(now_ms + (1 - share) / pace * HOUR_MS, share, assumed_h)


def _unseen(
    of: Digesting, cool: Line, pct: float, care: CareProfile, now_ms: int
) -> Iterator[float]:
    """The share digested in each stretch without the cool side: at the low end, or colder."""
    model, low_c = care.digestion, care.climate.cool_side.low
    slow = rate_per_hour(pct, low_c, model) / of.factor
    capped = model.model_copy(update={"clamp_c": model.clamp_c.model_copy(update={"value": low_c})})
    for start_ms, end_ms in zip(*cool.gaps(of.at_ms, now_ms), strict=True):
        warm = of.warm.cut(start_ms, end_ms) if of.warm is not None else NOTHING
        seen = progress(warm, pct, capped, factor=of.factor).share
        yield seen + ((end_ms - start_ms) / HOUR_MS - warm.known_hours) * slow


def _slow_pace(of: Digesting, share: float, pct: float, care: CareProfile, now_ms: int) -> float:
    """Share an hour from now on, where too little of the cool side is known to tell its own."""
    slow = rate_per_hour(pct, care.climate.cool_side.low, care.digestion) / of.factor
    elapsed_h = (now_ms - of.at_ms) / HOUR_MS
    return min(slow, share / elapsed_h) if elapsed_h >= KNOWN_HOURS else slow


def _at(meal: Meal) -> int:
    at_ms = taken_at_ms(meal)
    return at_ms if at_ms is not None else -1
