"""Which meals stand side by side when a condition is compared: one animal's, near in time.

What is settled when a meal is taken (its size, where it was fed) is compared among a stretch of the
same animal's meals. What builds up afterwards (cold, handling) is compared hour for hour: each meal
that came back against the others of its stretch after as many hours.

After a meal that came back a keeper waits and feeds less, so that how the next one was fed is made
by an outcome. Meals right after one that came back are therefore compared with each other alone, in
what is settled when a meal is taken. What a keeper changes for good (a mended heater) cannot be
told from the meals that follow; `earlier` is the comparison that no such change can reach.

Animals differ, and so do seasons: an animal that is ill for two months, and whose heater is weak in
two other months, must not make cold look harmless or harmful. Stretches of ten meals lose little:
beyond a handful of others beside each meal that came back, more of them tell hardly more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple, TypeVar

from analysis.at_risk import Fed
from analysis.measured import Measured

NEAR = 10
"""About so many meals of one animal in a row are near in time (our own choice)."""

SETTLED = frozenset(
    {
        "prey share of body mass",
        "prey width over mid-body",
        "days since the meal before",
        "days since the meal before came back",
        "prey surface contrast",
        "prey state",
        "fed in",
        "shed near",
    }
)
"""Conditions that are settled when a meal is taken. Every other one builds up afterwards."""

Mark = TypeVar("Mark", bool, float)


class Key(NamedTuple):
    """Whose meals stand side by side: the animal, its stretch, and the meal that came back.

    `meal` is 0 where a whole stretch is compared at once, `after_one_back` then tells which part
    of it.
    """

    animal: str
    stretch: int
    meal: int
    after_one_back: bool = False


def stretches(meals: Sequence[Fed]) -> dict[tuple[str, int], list[Fed]]:
    """Each animal's meals, in the order given, in stretches of about NEAR each, evenly long."""
    by_animal: dict[str, list[Fed]] = {}
    for meal in meals:
        by_animal.setdefault(meal.animal, []).append(meal)
    found: dict[tuple[str, int], list[Fed]] = {}
    for animal, own in by_animal.items():
        count = max(1, round(len(own) / NEAR))
        for number in range(count):
            first, end = (len(own) * i // count for i in (number, number + 1))
            found[animal, number] = own[first:end]
    return found


def beside(
    condition: str, meals: Sequence[Fed], mark_of: Callable[[Measured | None], Mark | None]
) -> Iterator[tuple[Key, list[tuple[bool, Mark]]]]:
    """The comparisons: (whether it came back, its mark) of all meals that stand side by side.

    A meal whose mark is not known is not among them.
    """
    for (animal, number), near in stretches(meals).items():
        if condition in SETTLED:
            for rested in (False, True):
                part = [meal for meal in near if meal.after_one_back is rested]
                if part:
                    yield Key(animal, number, 0, rested), _known(_settled(part, condition, mark_of))
            continue
        for case in near:
            if case.came_back and case.hours is not None:
                yield Key(animal, number, case.meal), _known(_after(case, near, condition, mark_of))


def earlier(
    condition: str, meals: Sequence[Fed], mark_of: Callable[[Measured | None], Mark | None]
) -> Iterator[tuple[Key, list[tuple[bool, Mark]]]]:
    """Each meal that came back beside the same animal's meals since the last one that did.

    The NEAR nearest, and without the one right after the last: nothing that a keeper changed for
    an outcome lies between them. Fewer meals, and a weaker comparison than `beside`.
    """
    run: dict[str, list[Fed]] = {}
    for meal in meals:
        before: list[Fed] = run.setdefault(meal.animal, [])
        if not meal.came_back:
            if not meal.after_one_back:
                before.append(meal)
            continue
        together = [*before[-NEAR:], meal]
        if condition in SETTLED:
            yield Key(meal.animal, 0, meal.meal), _known(_settled(together, condition, mark_of))
        elif meal.hours is not None:
            marks = _after(meal, together, condition, mark_of)
            yield Key(meal.animal, 0, meal.meal), _known(marks)
        before.clear()


def _settled(
    meals: Iterable[Fed], condition: str, mark_of: Callable[[Measured | None], Mark | None]
) -> Iterator[tuple[bool, Mark | None]]:
    for meal in meals:
        yield meal.came_back, mark_of(meal.fixed.get(condition))


def _after(
    case: Fed,
    near: Iterable[Fed],
    condition: str,
    mark_of: Callable[[Measured | None], Mark | None],
) -> Iterator[tuple[bool, Mark | None]]:
    """A meal that came back, and those that had not by then, after as many hours."""
    hours = case.hours
    for meal in near:
        if hours is not None and (meal is case or _still_down(meal, hours)):
            yield meal is case, mark_of(meal.after[hours].get(condition))


def _still_down(meal: Fed, hours: float) -> bool:
    """True when it was followed for so many hours and had not come back by then."""
    gone = meal.came_back and (meal.hours is None or meal.hours <= hours)
    return hours in meal.after and not gone


def _known(marks: Iterable[tuple[bool, Mark | None]]) -> list[tuple[bool, Mark]]:
    return [(back, mark) for back, mark in marks if mark is not None]
