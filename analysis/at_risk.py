"""The meals of a book as a pattern is looked for in them: each over hours that can be compared.

A meal that came back after 41 h was looked at for 41 h; one that stayed down, for a week or two. In
a week there is more time to be cold, handled or dry in. Set side by side as they are, meals that
stayed down would seem to have had the harder time. So a meal that came back is set beside the same
animal's other meals *as they stood after as many hours*: those that had not come back by then.

Where one figure a meal is wanted, meals that stayed down are looked at over the hours after which
that animal's others came back, each of them in turn, so that both kinds are seen for as long.

Source: risk sets as in Cox 1972, J. R. Stat. Soc. B 34:187; why it is needed: Suissa 2008, Am. J.
Epidemiol. 167:492, "immortal time" (both from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from analysis.exposure import Line
from analysis.gathering import Facts, Gathered, gathered_from
from analysis.measured import Measured, measured
from analysis.tracks import Tracks
from analysis.verdict import NO_PROBE, held_against, verdict_of
from analysis.window import DAY_MS, HOUR_MS, Window, came_back_ms, taken_at_ms
from collector.book.records import Meal
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

Factors = Mapping[str, Measured]


@dataclass(frozen=True, slots=True)
class Fed:
    """One meal with a known outcome, and its factors as they stood after so many hours."""

    meal: int
    animal: str
    came_back: bool
    hours: float | None
    """After how many hours it came back, or over how many it is looked at; None: unknown."""
    fixed: Factors = field(repr=False)
    """Its factors over its own window: right for what is settled when a meal is taken."""
    after: Mapping[float, Factors] = field(repr=False)
    """Its factors by hours since it was taken, where it was followed that long."""
    after_one_back: bool = False
    """True when the same animal's meal before it came back: a keeper then waits, and feeds less."""

    @property
    def own(self) -> Factors | None:
        """Its factors over its own hours."""
        return self.after.get(self.hours) if self.hours is not None else None


@dataclass(frozen=True, slots=True)
class Left:
    """Meals of the book that no pattern can be looked for in."""

    outcome_open: int
    refused_or_not_taken: int


@dataclass(frozen=True, slots=True)
class Hours:
    """After how many hours a meal is looked at: those asked for, and its own among them."""

    own: float | None
    asked: tuple[float, ...]


def fed_meals(
    book: Book, reader: Reader, care: CareProfile, settings: Settings, now_ms: int
) -> tuple[list[Fed], Left]:
    """Every meal of known outcome at `now_ms`, the oldest first, and how many are left out."""
    facts, tracks = _as_known(Facts.of(book), now_ms), Tracks(reader)
    every = [meal for meals in facts.meals.values() for meal in meals]
    known = {meal.meal: meal for meal in every if _came_back(meal) is not None}
    not_taken = sum(
        taken_at_ms(m) is None and (m.offered_at_ms or 0) < now_ms for m in book.meals()
    )
    hours = hours_of(facts, care, now_ms)
    found = []
    for number, meal in sorted(known.items(), key=lambda pair: taken_at_ms(pair[1]) or 0):
        start_ms = taken_at_ms(meal) or 0
        until_ms = start_ms + round(max(hours[number].asked, default=0.0) * HOUR_MS)
        gathered = gathered_from(
            meal,
            facts,
            tracks,
            care=care,
            settings=settings,
            now_ms=now_ms,
            until_ms=until_ms,
            with_room=False,
        )
        found.append(fed(gathered, hours[number], care))
    return found, Left(len(every) - len(known), not_taken)


def fed(gathered: Gathered, hours: Hours, care: CareProfile) -> Fed:
    """One meal of a known outcome, its factors taken after each of the hours."""
    meal, before = gathered.meal, gathered.meal_before
    return Fed(
        meal=meal.meal,
        animal=meal.animal,
        came_back=bool(_came_back(meal)),
        hours=hours.own,
        fixed=_factors(gathered.of_window(), care),
        after={h: _factors_after(gathered, h, care) for h in hours.asked},
        after_one_back=before is not None and bool(_came_back(before)),
    )


def hours_of(facts: Facts, care: CareProfile, now_ms: int) -> dict[int, Hours]:
    """For every meal of known outcome, by its number, the hours after which it is looked at."""
    longest = care.window.max_days.value * DAY_MS / HOUR_MS
    back = {
        name: sorted(h for meal in meals if (h := _back_after(meal, longest)) is not None)
        for name, meals in facts.meals.items()
    }
    everywhere = sorted(h for hours in back.values() for h in hours)
    found: dict[int, Hours] = {}
    for name, meals in facts.meals.items():
        asked, turn = back[name] or everywhere, 0
        for meal, followed in zip(meals, _followed(meals, now_ms, longest), strict=True):
            came_back = _came_back(meal)
            if came_back is None:
                continue
            own = _back_after(meal, longest)
            reach = [h for h in asked if h <= (own if own is not None else followed)]
            if not came_back and reach:
                own, turn = reach[turn % len(reach)], turn + 1
            if came_back and own is None:  # at an unknown time: no hours can be compared
                reach = []
            if not back[name]:  # nothing of this animal's to be set beside: its own hours will do
                reach = [own] if own is not None else []
            found[meal.meal] = Hours(own, tuple(sorted(set(reach))))
    return found


def _as_known(facts: Facts, now_ms: int) -> Facts:
    """The facts with the meals as they were known at a moment: no later ones, no later outcomes."""
    meals = {
        name: [_meal_as_known(meal, now_ms) for meal in own if (taken_at_ms(meal) or 0) < now_ms]
        for name, own in facts.meals.items()
    }
    return replace(facts, meals={name: own for name, own in meals.items() if own})


def _meal_as_known(meal: Meal, now_ms: int) -> Meal:
    if meal.outcome_at_ms is None or meal.outcome_at_ms <= now_ms:
        return meal
    return replace(meal, outcome=None, outcome_at_ms=None)


def _followed(meals: Sequence[Meal], now_ms: int, longest: float) -> Iterator[float]:
    """For how many hours each meal was the animal's last one."""
    times = [taken_at_ms(meal) or 0 for meal in meals]
    for start_ms, next_ms in pairwise([*times, now_ms]):
        yield min(max(0.0, (min(next_ms, now_ms) - start_ms) / HOUR_MS), longest)


def _came_back(taken: Meal) -> bool | None:
    """Whether a meal that was taken came back. Refused ones are in no facts."""
    return taken.outcome.came_back if taken.outcome is not None else None


def _back_after(meal: Meal, longest: float) -> float | None:
    back_ms, start_ms = came_back_ms(meal), taken_at_ms(meal)
    if back_ms is None or start_ms is None:
        return None
    return min((back_ms - start_ms) / HOUR_MS, longest)


def _factors_after(gathered: Gathered, hours: float, care: CareProfile) -> Factors:
    """The factors as they would be if the window had ended after so many hours."""
    start_ms = gathered.window.start_ms
    end_ms = start_ms + round(hours * HOUR_MS)

    def cut(line: Line | None) -> Line | None:
        return line.cut(start_ms, end_ms) if line is not None else None

    by_then = replace(
        gathered,
        window=Window(start_ms, end_ms, "outcome"),
        until_ms=end_ms,
        warm=cut(gathered.warm),
        cool=cut(gathered.cool),
        humidity=cut(gathered.humidity),
        handlings=tuple(one for one in gathered.handlings if one.at_ms < end_ms),
        of_window_alone=None,
    )
    return _factors(by_then, care)


def _factors(own: Gathered, care: CareProfile) -> Factors:
    held = held_against(own.warm, own.window, care) if own.warm is not None else ()
    verdict = verdict_of(held)[0] if held else NO_PROBE
    return {one.factor: one for one in measured(own, held, verdict, care)}
