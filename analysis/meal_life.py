"""The life of a meal: offered, taken or refused or still there, what became of it. Pure, light.

A meal is asked about, never assumed: whether it was taken, once the prey has lain there for as
long as a snake inspects it, and again when the night begins; what became of it, once its time to
digest is over.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import time as clock_time
from datetime import timedelta, tzinfo
from enum import StrEnum

from analysis.moments import local_ms
from analysis.window import body_mass_g, full_length_ms, meal_pct, taken_at_ms
from analysis.words import local_day_of
from collector.book.records import Meal, Outcome, Weighing
from config.care import CareProfile


class MealState(StrEnum):
    """Where a meal is in its life."""

    OFFERED = "offered"
    STILL_THERE = "still there"
    TAKEN = "taken"
    REFUSED = "refused"
    OUTCOME_OPEN = "outcome open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Due:
    """A question about a meal: since when it is due (UTC ms), and the commands that answer it."""

    meal: Meal
    state: MealState
    at_ms: int
    question: str
    answers: tuple[str, ...]


def meal_state(
    meal: Meal,
    now_ms: int,
    care: CareProfile,
    zone: tzinfo,
    weighings: Iterable[Weighing] = (),
) -> MealState:
    """The state of a meal at a moment. What happened later than that is not known yet.

    A meal whose prey was taken away uneaten counts as refused. Without `weighings` of the animal
    the body mass is unknown, and the time to digest the profile's 7 days.
    """
    then = _as_of(meal, now_ms)
    if then.outcome is Outcome.REFUSED:
        return MealState.REFUSED
    if then.outcome is not None:
        return MealState.CLOSED
    if then.taken_at_ms is not None:
        over = now_ms >= outcome_due_ms(then, care, weighings)
        return MealState.OUTCOME_OPEN if over else MealState.TAKEN
    if then.removed_at_ms is not None:
        return MealState.REFUSED
    reminders = reminders_ms(then, care, zone)
    return MealState.STILL_THERE if reminders and now_ms >= reminders[0] else MealState.OFFERED


def reminders_ms(meal: Meal, care: CareProfile, zone: tzinfo) -> tuple[int, ...]:
    """When to ask whether an offer was taken: after the time to inspect it, and as night begins.

    Both in order. The night begins at the profile's hour, the home's time; of an offer made
    after it, the time to inspect it is all there is.
    """
    if meal.offered_at_ms is None:
        return ()
    inspected_ms = meal.offered_at_ms + round(care.feeding.inspect_minutes.value * 60_000)
    night_ms = _night_ms(meal.offered_at_ms, care, zone)
    return tuple(sorted({inspected_ms, night_ms} if night_ms is not None else {inspected_ms}))


def outcome_due_ms(meal: Meal, care: CareProfile, weighings: Iterable[Weighing] = ()) -> int:
    """When the outcome of a meal that was taken is asked for: its time to digest is over.

    Raises ValueError for a meal that was not taken.
    """
    taken_ms = taken_at_ms(meal)
    if taken_ms is None:
        raise ValueError(f"meal {meal.meal} was not taken: it has no outcome to wait for")
    return taken_ms + full_length_ms(meal_pct(meal, body_mass_g(weighings, taken_ms)), care)


def due(
    meals: Sequence[Meal],
    now_ms: int,
    care: CareProfile,
    zone: tzinfo,
    weighings: Sequence[Weighing] = (),
) -> list[Due]:
    """The questions that are due, the oldest first. Meals may be of several animals."""
    own: dict[str, list[Weighing]] = {}
    for one in weighings:
        own.setdefault(one.animal, []).append(one)
    found = []
    for meal in meals:
        weighed = own.get(meal.animal, [])
        state = meal_state(meal, now_ms, care, zone, weighed)
        if state is MealState.STILL_THERE:
            at_ms = reminders_ms(meal, care, zone)[0]
            found.append(Due(meal, state, at_ms, "taken, or still there?", _offer_answers(meal)))
        elif state is MealState.OUTCOME_OPEN:
            at_ms = outcome_due_ms(meal, care, weighed)
            found.append(Due(meal, state, at_ms, "what became of it?", _outcome_answers(meal)))
    return sorted(found, key=lambda one: (one.at_ms, one.meal.meal))


def _offer_answers(meal: Meal) -> tuple[str, ...]:
    return f"warmcoil meal {meal.meal} --taken TIME", f"warmcoil meal {meal.meal} --removed"


def _outcome_answers(meal: Meal) -> tuple[str, ...]:
    return (f"warmcoil meal {meal.meal} --outcome kept|passed|regurgitated|vomited --when TIME",)


def _night_ms(offered_ms: int, care: CareProfile, zone: tzinfo) -> int | None:
    """When the night of an offer's day begins; None for an offer made later than that."""
    day = local_day_of(offered_ms, zone)
    whole, part = divmod(care.feeding.clear_by_hour.value, 1)
    if whole >= 24:
        day, whole = day + timedelta(days=1), whole - 24
    at_ms = local_ms(day, clock_time(int(whole), int(part * 60)), zone)
    return at_ms if at_ms > offered_ms else None


def _as_of(meal: Meal, now_ms: int) -> Meal:
    """The meal as far as it had come by then."""

    def _past(at_ms: int | None) -> int | None:
        return at_ms if at_ms is not None and at_ms <= now_ms else None

    ended = meal.outcome_at_ms is None or meal.outcome_at_ms <= now_ms
    return Meal(
        meal.meal,
        meal.animal,
        offered_at_ms=_past(meal.offered_at_ms),
        taken_at_ms=_past(meal.taken_at_ms),
        removed_at_ms=_past(meal.removed_at_ms),
        prey_count=meal.prey_count,
        prey_mass_g=meal.prey_mass_g,
        outcome=meal.outcome if ended else None,
    )
