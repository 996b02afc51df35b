"""The book as it was at a moment: what was not so yet is not known yet. Pure, and light."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TypeVar

from collector.book.records import Dropping, Look, Meal, Shed, Weighing

_Timed = TypeVar("_Timed", Weighing, Shed, Look, Dropping)


def meals_as_of(meals: Iterable[Meal], now_ms: int) -> list[Meal]:
    """Meals offered or taken by then, each without what happened to it later.

    An outcome without a time of its own is taken as known from the meal on.
    """
    return [_known(meal, now_ms) for meal in meals if _began_ms(meal) <= now_ms]


def records_as_of(records: Iterable[_Timed], now_ms: int) -> list[_Timed]:
    """Records written of a moment by then, the oldest first."""
    return sorted((one for one in records if one.at_ms <= now_ms), key=lambda one: one.at_ms)


def _began_ms(meal: Meal) -> int:
    times = (meal.offered_at_ms, meal.taken_at_ms)
    return min((at_ms for at_ms in times if at_ms is not None), default=0)


def _known(meal: Meal, now_ms: int) -> Meal:
    if meal.taken_at_ms is not None and meal.taken_at_ms > now_ms:
        meal = replace(meal, taken_at_ms=None, outcome=None, outcome_at_ms=None, signs=None)
    if meal.removed_at_ms is not None and meal.removed_at_ms > now_ms:
        meal = replace(meal, removed_at_ms=None)
    if meal.outcome_at_ms is not None and meal.outcome_at_ms > now_ms:
        meal = replace(meal, outcome=None, outcome_at_ms=None, signs=None)
    return meal
