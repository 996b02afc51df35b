"""A meal entered: a new offer with what is as last time, and the life of one that is there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from analysis.entering.desk import Desk
from collector.book.doubts import Doubt
from collector.book.records import Meal, Outcome
from collector.book.rules import meal_time_ms
from config.errors import BadEntry

AS_LAST: Final = (
    "prey",
    "prey_count",
    "prey_mass_g",
    "prey_width_mm",
    "prey_state",
    "fed_in",
)
"""What a new meal may have from the last one."""
_OF_THE_ITEM: Final = ("prey_count", "prey_mass_g", "prey_width_mm")


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of a meal: the columns given, and when the outcome was (UTC ms).

    `unknown` are the columns that are to be unknown, whatever is known of them from before.
    """

    columns: dict[str, Any]
    outcome: Outcome | None = None
    when_ms: int | None = None
    unknown: tuple[str, ...] = ()

    @property
    def nothing(self) -> bool:
        """True when nothing was said."""
        return not (self.columns or self.outcome or self.unknown)


# ---- a new meal -----------------------------------------------------------------------------


def begin(it: Desk, animal: str, said: Said) -> tuple[Meal, dict[str, Any]]:
    """Enter a new meal; returns it as the book has it, and what it has from the last one.

    Raises BadEntry for what cannot be, Unusable where a doubt is not answered with yes.
    """
    given = dict(said.columns)
    if given.get("offered_at_ms") is None and given.get("taken_at_ms") is None:
        given["offered_at_ms"] = it.when(None)
    first = Meal(0, animal, **given)
    last = last_before(it, first)
    copied = as_last(given, last, said.unknown) if last is not None else {}
    record = replace(first, **copied)
    if said.outcome is not None:
        record = _ended(record, said.outcome, said.when_ms)
    return _meal(it.enter_new(_removed(record))), copied


def last_before(it: Desk, meal: Meal) -> Meal | None:
    """The animal's last meal before this one, taken or not."""
    at_ms = meal_time_ms(meal) or 0
    earlier = [one for one in it.book.meals(meal.animal) if (meal_time_ms(one) or 0) < at_ms]
    return max(earlier, key=lambda one: meal_time_ms(one) or 0, default=None)


def as_last(given: dict[str, Any], last: Meal, unknown: tuple[str, ...] = ()) -> dict[str, Any]:
    """What the last meal tells of this one. Another prey has another size, another mass a width."""
    other_prey = given.get("prey", last.prey) != last.prey
    other_mass = given.get("prey_mass_g", last.prey_mass_g) != last.prey_mass_g
    copied = {}
    for name in AS_LAST:
        skipped = (other_prey and name in _OF_THE_ITEM) or (other_mass and name == "prey_width_mm")
        value = getattr(last, name)
        if value is not None and name not in given and name not in unknown and not skipped:
            copied[name] = value
    return copied


# ---- a meal of the book ---------------------------------------------------------------------


def go_on(it: Desk, before: Meal, said: Said) -> Meal:
    """Enter how a meal of the book went on, or what is right about it; as the book has it then.

    Raises as `begin` does.
    """
    columns: dict[str, Any] = {**said.columns, **dict.fromkeys(said.unknown)}
    if "outcome" in columns:
        columns["outcome_at_ms"] = None
    after = replace(before, **columns)
    asked = []
    if said.outcome is not None:
        default_ms = after.removed_at_ms if said.outcome is Outcome.REFUSED else None
        at_ms = said.when_ms if said.when_ms is not None else default_ms
        if said.outcome is Outcome.REFUSED and "taken_at_ms" not in said.columns:
            asked = _taken_after_all(it, before)
            after = replace(after, taken_at_ms=None)
        after = _ended(after, said.outcome, at_ms if at_ms is not None else it.when(None))
    elif "taken_at_ms" in said.columns and before.outcome is Outcome.REFUSED:
        after = replace(after, outcome=None, outcome_at_ms=None)
    (stored,) = it.enter(_removed(after), more=asked)
    return _meal(stored)


def _taken_after_all(it: Desk, before: Meal) -> list[Doubt]:
    if before.taken_at_ms is None:
        return []
    when = it.saying().when(before.taken_at_ms)
    return [Doubt("", f"meal {before.meal} is down as taken {when}")]


# ---- both -----------------------------------------------------------------------------------


def _ended(meal: Meal, outcome: Outcome, at_ms: int | None) -> Meal:
    if outcome is not Outcome.REFUSED and meal.taken_at_ms is None:
        which = f"meal {meal.meal}" if meal.meal else "the meal"
        why = f"{which} is not down as taken; say when it was"
        raise BadEntry(f"{why}: --taken TIME", field="taken_at", why=why)
    return replace(meal, outcome=outcome, outcome_at_ms=at_ms)


def _removed(meal: Meal) -> Meal:
    """Prey that was taken away and not eaten was refused."""
    if meal.removed_at_ms is None or meal.taken_at_ms is not None or meal.outcome is not None:
        return meal
    return replace(meal, outcome=Outcome.REFUSED, outcome_at_ms=meal.removed_at_ms)


def _meal(record: object) -> Meal:
    if not isinstance(record, Meal):
        raise TypeError(record)
    return record
