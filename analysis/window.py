"""The window of a meal: how long after it the readings count, and why it ended. Pure, and light.

From the moment the meal was taken, for D(m, 30 °C): at least the profile's `min_hours`, at most its
`max_days`; `unknown_days` where prey or body mass is unknown. It ends early when the meal came
back, at the next meal taken, or now.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from analysis.digestion import AT_C, model_days
from collector.book.records import Meal, Outcome, Weighing
from config.care import CareProfile

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS

BEFORE_MS = 90 * DAY_MS
"""A weighing this long before a meal still tells the body mass at it."""
AFTER_MS = 30 * DAY_MS
"""Where there is none before, the first one within this time after it does."""

EndedBy = Literal["complete", "outcome", "next meal", "now"]


@dataclass(frozen=True, slots=True)
class Window:
    """[start_ms, end_ms): the time after a meal that is judged. Never of negative length."""

    start_ms: int
    end_ms: int
    ended_by: EndedBy

    @property
    def hours(self) -> float:
        """Its length in h."""
        return (self.end_ms - self.start_ms) / HOUR_MS


# ---- size of the meal -----------------------------------------------------------------------


def body_mass_g(weighings: Iterable[Weighing], at_ms: int) -> float | None:
    """The animal's mass at a moment, in g: by the nearest weighing that took a mass.

    The last one within 90 days before (the moment included), else the first within 30 days after,
    else None: unknown.
    """
    return _nearest(weighings, at_ms, lambda weighing: weighing.mass_g)


def midbody_mm(weighings: Iterable[Weighing], at_ms: int) -> float | None:
    """The animal's width at mid-body, in mm, by the same rule as its mass."""
    return _nearest(weighings, at_ms, lambda weighing: weighing.midbody_mm)


def meal_pct(meal: Meal, body_g: float | None) -> float | None:
    """The whole meal's mass in % of body mass; None where either is unknown or not positive."""
    if meal.mass_g is None or body_g is None or meal.mass_g <= 0 or body_g <= 0:
        return None
    return 100.0 * meal.mass_g / body_g


def _nearest(
    weighings: Iterable[Weighing], at_ms: int, measure: Callable[[Weighing], float | None]
) -> float | None:
    taken = [(one.at_ms, value) for one in weighings if (value := measure(one)) is not None]
    before = [pair for pair in taken if at_ms - BEFORE_MS <= pair[0] <= at_ms]
    if before:
        return max(before, key=lambda pair: pair[0])[1]
    after = [pair for pair in taken if at_ms < pair[0] <= at_ms + AFTER_MS]
    return min(after, key=lambda pair: pair[0])[1] if after else None


# ---- taken, come back -----------------------------------------------------------------------


def taken_at_ms(meal: Meal) -> int | None:
    """When a meal was taken; None for an offer that was refused or not taken."""
    return None if meal.outcome is Outcome.REFUSED else meal.taken_at_ms


def came_back_ms(meal: Meal) -> int | None:
    """When a meal came back, where it did at a known time after it was taken."""
    if meal.outcome is None or not meal.outcome.came_back or meal.taken_at_ms is None:
        return None
    at_ms = meal.outcome_at_ms
    return at_ms if at_ms is not None and at_ms > meal.taken_at_ms else None


# ---- the window -----------------------------------------------------------------------------


def meal_window(
    meal: Meal,
    meals_of_animal: Iterable[Meal],
    weighings: Iterable[Weighing],
    care: CareProfile,
    now_ms: int,
) -> Window:
    """The window of a meal that was taken.

    It ends at the earliest of: its time is up ("complete"); the meal came back at a known time
    after it was taken ("outcome"); the same animal's next meal was taken ("next meal"); now
    ("now"). Of two at once the one named first here is given. A meal taken later than now has an
    empty window. Raises ValueError for a meal that was not taken: it has no window.
    """
    start_ms = taken_at_ms(meal)
    if start_ms is None:
        raise ValueError(f"meal {meal.meal} was not taken: it has no window")
    pct = meal_pct(meal, body_mass_g(weighings, start_ms))
    ends: list[tuple[int, EndedBy]] = [(start_ms + full_length_ms(pct, care), "complete")]
    back_ms = came_back_ms(meal)
    if back_ms is not None:
        ends.append((back_ms, "outcome"))
    ends.extend((next_ms, "next meal") for next_ms in _taken_after(meals_of_animal, start_ms))
    ends.append((max(now_ms, start_ms), "now"))
    end_ms, ended_by = min(ends, key=lambda end: end[0])  # of equal ones the first
    return Window(start_ms, end_ms, ended_by)


def full_length_ms(pct: float | None, care: CareProfile) -> int:
    """How long the window of a meal of `pct` % of body mass (None: unknown) is, if nothing ends it.

    To the nearest millisecond.
    """
    if pct is None:
        return round(care.window.unknown_days.value * DAY_MS)
    days = model_days(pct, AT_C, care.digestion)
    shortest_ms = care.window.min_hours.value * HOUR_MS
    return round(min(max(days * DAY_MS, shortest_ms), care.window.max_days.value * DAY_MS))


def _taken_after(meals: Iterable[Meal], start_ms: int) -> list[int]:
    times = map(taken_at_ms, meals)
    return [at_ms for at_ms in times if at_ms is not None and at_ms > start_ms]
