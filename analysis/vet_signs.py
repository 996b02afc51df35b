"""What of an animal's meals and droppings is for a vet and not for the heater. Pure.

Each sign has its reason and its source. Some hold the next meal back until a vet has seen the
animal; the others are said beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from analysis import words
from analysis.measured import basis_text, typical_of_infection
from analysis.verdict import Verdict
from analysis.window import DAY_MS, HOUR_MS, came_back_ms, taken_at_ms
from collector.book.records import Dropping, Meal, Outcome, Signs, Urate
from config.care import CareProfile

_AT_ONCE = "common practice"


@dataclass(frozen=True, slots=True)
class VetSign:
    """Why a vet should see the animal; `holds`: no meal before that."""

    says: str
    basis: str
    holds: bool


def vet_signs(
    meals: Sequence[Meal],
    droppings: Sequence[Dropping],
    *,
    care: CareProfile,
    now_ms: int,
    zone: tzinfo,
    verdict: Verdict | None = None,
    called: str = "the last meal",
) -> list[VetSign]:
    """One animal's signs at a moment, the gravest first.

    `verdict` is of the warm side after the last meal that came back, None where it was not judged.
    `called` is what the last meal that came back is called.
    A meal that came back counts until a later one is known to have stayed down.
    """
    back = _came_back_last(meals, now_ms)
    return [
        *_of_what_came_up(back, droppings, care, called),
        *_in_a_row(back, care, zone),
        *_of_droppings(droppings, care, now_ms, zone),
        *_of_infection(back, verdict, care, called),
    ]


def last_that_came_back(meals: Sequence[Meal], now_ms: int) -> Meal | None:
    """The meal that came back, where none is known to have stayed down since; None otherwise."""
    back = _came_back_last(meals, now_ms)
    return back[-1] if back else None


def _came_back_last(meals: Sequence[Meal], now_ms: int) -> list[Meal]:
    """The unbroken run of meals that came back, oldest first, with only open ones after it."""
    taken = [(at, one) for one in meals if (at := taken_at_ms(one)) is not None and at <= now_ms]
    run: list[Meal] = []
    for _, meal in sorted(taken, key=lambda pair: pair[0], reverse=True):
        if meal.outcome is None and not run:
            continue
        if meal.outcome is None or not meal.outcome.came_back:
            break
        run.append(meal)
    return run[::-1]


def _of_what_came_up(
    back: Sequence[Meal], droppings: Sequence[Dropping], care: CareProfile, called: str
) -> Iterator[VetSign]:
    """Vomiting: said so, or by mucus or blood in it, or by droppings without urate beside it."""
    if not back:
        return
    last = back[-1]
    if last.outcome is Outcome.VOMITED:
        yield VetSign(f"{called} was vomited: a vet at once", _AT_ONCE, holds=True)
    if last.signs not in (None, Signs.NONE):
        says = f"{last.signs} in what came back: that is vomiting, a vet at once"
        yield VetSign(says, _AT_ONCE, holds=True)
    back_ms, near_ms = came_back_ms(last), care.vet.brought_up_hours.value * HOUR_MS
    if back_ms is not None and any(
        one.urate is Urate.MISSING and abs(one.at_ms - back_ms) <= near_ms for one in droppings
    ):
        says = "droppings without the white urate came up with it: that is vomiting, a vet at once"
        yield VetSign(says, _AT_ONCE, holds=True)


def _in_a_row(back: Sequence[Meal], care: CareProfile, zone: tzinfo) -> Iterator[VetSign]:
    """Counted by days: two items of one evening that came back are one meal that did."""
    days = {
        words.local_day_of(one.taken_at_ms, zone) for one in back if one.taken_at_ms is not None
    }
    rule = care.vet.came_back_in_a_row
    if len(days) >= rule.value:
        count = words.count(len(days))
        yield VetSign(f"{count} meals in a row came back", basis_text(rule), holds=True)


def _of_droppings(
    droppings: Sequence[Dropping], care: CareProfile, now_ms: int, zone: tzinfo
) -> Iterator[VetSign]:
    """Mucus or blood in the newest droppings that were looked at for it."""
    looked = [one for one in droppings if one.signs is not None and one.at_ms <= now_ms]
    newest = max(looked, key=lambda one: one.at_ms, default=None)
    rule = care.vet.droppings_days
    if newest is None or newest.signs is Signs.NONE:
        return
    if now_ms - newest.at_ms <= rule.value * DAY_MS:
        says = f"{newest.signs} in the droppings of {words.local_day(newest.at_ms, zone)}"
        yield VetSign(says, _AT_ONCE, holds=True)


def _of_infection(
    back: Sequence[Meal], verdict: Verdict | None, care: CareProfile, called: str
) -> Iterator[VetSign]:
    if not back or verdict is None or back[-1].taken_at_ms is None:
        return
    back_ms = came_back_ms(back[-1])
    hours = (back_ms - back[-1].taken_at_ms) / HOUR_MS if back_ms is not None else None
    if typical_of_infection(hours, verdict, care):
        says = (
            f"{called} came back after {words.hours(hours)} although the warm side was warm "
            "enough, which is typical of an infection"
        )
        yield VetSign(says, basis_text(care.feeding.infection_hours), holds=False)
