"""What an animal's next meal has to wait for, each rule with its day, its reason and its source.

Days are the home's own: a meal on a Monday and an interval of seven days make the Monday after,
whatever the clocks did in between.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Literal

from analysis import words
from analysis.condition import State
from analysis.digestion import rate_per_hour
from analysis.exposure import Line
from analysis.food import intervals
from analysis.measured import basis_text
from analysis.progress import progress
from analysis.window import HOUR_MS, came_back_ms, taken_at_ms
from collector.book.records import Meal, Outcome
from config.care import CareProfile
from config.settings import Settings

Rule = Literal["interval", "digestion", "after coming back", "shed", "vet"]

KNOWN_HOURS = 24.0
"""Over this much of the cool side known, its own pace is taken for the time to come (our own
choice); under it, that of the profile's cool side."""


@dataclass(frozen=True, slots=True)
class Wait:
    """One rule. `until` is the first day it allows a meal on; None: no day can be given."""

    rule: Rule
    until: date | None
    why: str
    basis: str


@dataclass(frozen=True, slots=True)
class Digesting:
    """The last meal as the cool side digests it, the cautious end of what can be known.

    `pct` is the meal in % of body mass, None where unknown; `cool` the cool side's line since the
    meal, None without a probe; `factor` what a daily swing lengthens the model's time by.
    """

    pct: float | None
    cool: Line | None
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Through:
    """When a meal is through if the animal lay on the cool side all along; `share` by now."""

    at_ms: float
    share: float
    assumed_hours: float
    """Hours for which the cool side's temperature is not known but taken from the profile."""


def waits(
    meals: Sequence[Meal],
    *,
    age_months: int | None,
    state: State,
    digesting: Digesting | None,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    in_shed: bool = False,
) -> list[Wait]:
    """Every rule that holds the next meal back or did, the one that ends last first.

    `meals` are one animal's; `digesting` is of the last one taken.
    """
    past = taken_by(meals, now_ms)
    found = list(_of_vet(past))
    if in_shed:
        found.append(
            Wait("shed", None, "in shed: no meal until the skin is off", "common practice")
        )
    if past:
        at_ms, last = past[-1]
        day = local_date(at_ms, settings.zone)
        if last.outcome is not None and last.outcome.came_back:
            found.append(_rest(last, day, care, settings.zone))
        else:
            found.append(_interval(day, age_months, state, care))
        if digesting is not None and last.outcome in (None, Outcome.KEPT):
            found += _digestion(at_ms, digesting, care, settings, now_ms)
    return sorted(found, key=lambda wait: wait.until or date.max, reverse=True)


def taken_by(meals: Sequence[Meal], now_ms: int) -> list[tuple[int, Meal]]:
    """The meals taken up to now with the time of it, the oldest first."""
    taken = [(at_ms, meal) for meal in meals if (at_ms := taken_at_ms(meal)) is not None]
    return sorted((pair for pair in taken if pair[0] <= now_ms), key=lambda pair: pair[0])


def _rest(last: Meal, day: date, care: CareProfile, zone: tzinfo) -> Wait:
    back_ms = came_back_ms(last)
    back = local_date(back_ms, zone) if back_ms is not None else day
    rest = care.feeding.rest_after_regurgitation_days
    why = f"the last meal came back: {rest.value:.0f} days' rest, then a meal half the size"
    return Wait("after coming back", back + timedelta(rest.value), why, basis_text(rest))


def _digestion(
    at_ms: int, of: Digesting, care: CareProfile, settings: Settings, now_ms: int
) -> Iterator[Wait]:
    through = through_at(at_ms, of, care, now_ms)
    if through.at_ms <= now_ms:
        return
    why = f"on the cool side the last meal is {100 * through.share:.0f} % through"
    if through.assumed_hours >= 1:
        low = words.temperature(care.climate.cool_side.low, settings)
        why += f" ({words.hours(through.assumed_hours)} of it not known and taken as {low})"
    until = local_date(round(through.at_ms), settings.zone)
    yield Wait("digestion", until, why, basis_text(care.digestion.reference_days))


def _interval(day: date, age_months: int | None, state: State, care: CareProfile) -> Wait:
    """By age, the longest of all where it is not known; a heavy animal at the longer end."""
    span = max(intervals(age_months, care), key=lambda one: one.low)
    heavy = state == "heavy"
    days = span.high if heavy else span.low
    age = "age not known" if age_months is None else f"{age_months} months old"
    why = f"{span.low:.0f} to {span.high:.0f} days between meals ({age}"
    why += "; heavy: the longer end)" if heavy else ")"
    return Wait("interval", day + timedelta(days), why, basis_text(span))


def due_by(
    meals: Sequence[Meal], age_months: int | None, care: CareProfile, now_ms: int, zone: tzinfo
) -> date | None:
    """The last day of the interval after the last meal that stayed down; None without one."""
    down = [
        at_ms
        for at_ms, meal in taken_by(meals, now_ms)
        if meal.outcome is None or not meal.outcome.came_back
    ]
    if not down:
        return None
    span = max(intervals(age_months, care), key=lambda one: one.low)
    return local_date(down[-1], zone) + timedelta(span.high)


def _of_vet(past: Sequence[tuple[int, Meal]]) -> Iterator[Wait]:
    basis = "trade rule (from memory)"
    last = [meal.outcome for _, meal in past[-2:]]
    if last and last[-1] is Outcome.VOMITED:
        yield Wait("vet", None, "the last meal was vomited: see a vet at once", basis)
    elif len(last) == 2 and all(one is not None and one.came_back for one in last):
        yield Wait("vet", None, "two meals in a row came back: see a vet before the next", basis)


def through_at(at_ms: int, of: Digesting, care: CareProfile, now_ms: int) -> Through:
    """When a meal taken at `at_ms` is through at the cool side's temperatures.

    Hours without a reading count at the low end of the profile's cool side. What is still missing
    goes on at the pace so far, where enough of it is known. A meal of unknown size counts as the
    model's reference meal. Honest accuracy: ±25 % at 25-30 °C, ±50 % below 22 °C.
    """
    model = care.digestion
    pct = of.pct if of.pct is not None else model.reference_meal_pct.value
    slow = rate_per_hour(pct, care.climate.cool_side.low, model) / of.factor
    line = of.cool.cut(at_ms, now_ms) if of.cool is not None else None
    share, known_h = 0.0, 0.0
    if line is not None and len(line):
        share, known_h = progress(line, pct, model, factor=of.factor).share, line.known_hours
    pace = share / known_h if known_h >= KNOWN_HOURS else slow
    assumed_h = max(0.0, (now_ms - at_ms) / HOUR_MS - known_h)
    share += assumed_h * slow
    return Through(now_ms + (1 - share) / pace * HOUR_MS, share, assumed_h)


def local_date(at_ms: int, zone: tzinfo) -> date:
    """The home's day of a moment."""
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).date()
