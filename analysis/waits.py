"""What an animal's next meal has to wait for, each rule with its day, its reason and its source.

Days are the home's own: a meal on a Monday and an interval of seven days make the Monday after,
whatever the clocks did in between.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from typing import Literal

from analysis import words
from analysis.ages import intervals
from analysis.body_look import State
from analysis.in_shed import InShed
from analysis.measured import basis_text
from analysis.through import Digesting, through_at
from analysis.vet_signs import VetSign
from analysis.window import body_mass_g, came_back_ms, full_length_ms, meal_pct, taken_at_ms
from collector.book.records import Meal, Weighing
from config.care import CareProfile
from config.settings import Settings

Rule = Literal["interval", "digestion", "after coming back", "shed", "vet"]


@dataclass(frozen=True, slots=True)
class Wait:
    """One rule. `until` is the first day it allows a meal on; None: no day can be given."""

    rule: Rule
    until: date | None
    why: str
    basis: str


def waits(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    *,
    age_months: int | None,
    state: State,
    digesting: Sequence[Digesting],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    shed: InShed | None = None,
    vet: Sequence[VetSign] = (),
) -> list[Wait]:
    """Every rule that holds the next meal back or did, the one that ends last first.

    `meals` are one animal's, `digesting` those of them that may still be inside, `vet` what is for
    a vet before the next meal.
    """
    past = taken_by(meals, now_ms)
    found = [Wait("vet", None, sign.says, sign.basis) for sign in vet if sign.holds]
    if shed is not None and not shed.ask:
        since = words.local_day(shed.since_ms, settings.zone)
        why = f"found in shed on {since}: no meal until the skin is off"
        found.append(Wait("shed", None, why, "common practice"))
    if past:
        last = past[-1][1]
        if last.outcome is not None and last.outcome.came_back:
            found.append(_rest(past[-1], weighings, care, settings.zone, now_ms))
        else:
            day = words.local_day_of(past[-1][0], settings.zone)
            found.append(_interval(day, age_months, state, care))
    found += _digestion(digesting, care, settings, now_ms)
    return sorted(found, key=lambda wait: wait.until or date.max, reverse=True)


def taken_by(meals: Sequence[Meal], now_ms: int) -> list[tuple[int, Meal]]:
    """The meals taken up to now with the time of it, the oldest first."""
    taken = [(at_ms, meal) for meal in meals if (at_ms := taken_at_ms(meal)) is not None]
    return sorted((pair for pair in taken if pair[0] <= now_ms), key=lambda pair: pair[0])


# ---- after a meal that came back ------------------------------------------------------------


def _rest(
    last: tuple[int, Meal],
    weighings: Sequence[Weighing],
    care: CareProfile,
    zone: tzinfo,
    now_ms: int,
) -> Wait:
    """Counted from the day it came back; where that is not known, from the latest it can be."""
    at_ms, meal = last
    rest = care.feeding.rest_after_regurgitation_days
    back_ms = came_back_ms(meal)
    why = f"the last meal came back: {rest.value:.0f} days' rest, then half the size"
    if back_ms is None:
        pct = meal_pct(meal, body_mass_g(weighings, at_ms))
        back_ms = min(at_ms + full_length_ms(pct, care), now_ms)
        why += f" (when is not known: {words.local_day(back_ms, zone)} at the latest)"
    until = words.local_day_of(back_ms, zone) + timedelta(rest.value)
    return Wait("after coming back", until, why, basis_text(rest))


# ---- the interval ---------------------------------------------------------------------------


def _interval(day: date, age_months: int | None, state: State, care: CareProfile) -> Wait:
    """By age, the longest of all where it is not known; a heavy animal at the longer end.

    A thin one never sooner: what it needs more of is size.
    """
    span = max(intervals(age_months, care), key=lambda one: one.low)
    days = span.high if state == "heavy" else span.low
    age = words.years_or_months(age_months)
    why = f"{span.low:.0f} to {span.high:.0f} days between meals, {age}"
    if age_months is None:
        why += ", so the longer ones"
    if state == "heavy":
        why += ", heavy, so the end of them"
    return Wait("interval", day + timedelta(days), why, basis_text(span))


def due_by(
    meals: Sequence[Meal],
    *,
    age_months: int | None,
    state: State,
    care: CareProfile,
    now_ms: int,
    zone: tzinfo,
) -> date | None:
    """The last day of the interval after the last meal; None without one, or if it came back.

    For a heavy animal, which begins where others end, the interval is moved and not cut short.
    """
    past = taken_by(meals, now_ms)
    if not past or (past[-1][1].outcome is not None and past[-1][1].outcome.came_back):
        return None
    span = max(intervals(age_months, care), key=lambda one: one.low)
    moved = span.high - span.low if state == "heavy" else 0.0
    return words.local_day_of(past[-1][0], zone) + timedelta(span.high + moved)


# ---- digestion ------------------------------------------------------------------------------


def _digestion(
    digesting: Sequence[Digesting], care: CareProfile, settings: Settings, now_ms: int
) -> Iterator[Wait]:
    """The meal that is through last, if the animal lay on the cool side all along.

    Until the moment it is through, the first day that begins after it.
    """
    if not digesting:
        return
    of, through = max(
        ((one, through_at(one, care, now_ms)) for one in digesting), key=lambda pair: pair[1].at_ms
    )
    until = words.local_day_of(round(through.at_ms), settings.zone)
    over = through.at_ms <= now_ms
    which = "the last meal" if of.at_ms == digesting[-1].at_ms else _meal_of(of, settings)
    share = min(99, int(100 * through.share))
    far = "digested" if over else f"only {share} % digested"
    why = f"{which} is {far} if it lay on the cool side"
    yield Wait(
        "digestion",
        until if over else until + timedelta(1),
        why + _taken_as(of, through.assumed_hours, care, settings),
        basis_text(care.digestion.reference_days),
    )


def _meal_of(of: Digesting, settings: Settings) -> str:
    return f"the meal of {words.local_day(of.at_ms, settings.zone)}"


def _taken_as(of: Digesting, assumed_h: float, care: CareProfile, settings: Settings) -> str:
    """What was not known of it, and what stands in for that."""
    said = []
    if of.pct is None:
        size = care.digestion.reference_meal_pct.value
        said.append(f"its size is not known and taken as {size:.0f} % of the body")
    if assumed_h >= 1:
        low = words.temperature(care.climate.cool_side.low, settings)
        said.append(f"{words.hours(assumed_h)} without readings are taken as {low} or colder")
    return f" ({'; '.join(said)})" if said else ""
