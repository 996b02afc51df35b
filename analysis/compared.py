"""One condition against the outcomes: how often with it, how often without, and could it be chance.

Exact within each animal and stretch of time; what is compared with what is told in matching.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import fmean

import numpy as np

from analysis.at_risk import Fed
from analysis.matching import SETTLED, beside, earlier, stretches
from analysis.measured import Measured
from analysis.statistics.chances import Chances, Group, chances_of
from analysis.statistics.dose_response import DoseResponse, firth
from analysis.statistics.proportions import Share, wilson
from analysis.statistics.tables import (
    CommonOdds,
    Exact,
    Table,
    cochran_mantel_haenszel,
    exact_of,
    fisher,
)
from collector.book.records import FedIn, PreyState

DOSES = ("degree-hours below the floor", "prey share of body mass")
"""Conditions also compared as amounts, without a limit."""

OUTCOMES = frozenset({"hours from meal to coming back"})
"""What a meal's outcome itself is made of: nothing to compare it with."""

WORDS = {"prey state": PreyState.THAWED.value, "fed in": FedIn.ENCLOSURE.value}
"""Conditions in words, and the word that stands for "without it"."""


@dataclass(frozen=True, slots=True)
class YesNo:
    """A condition that a meal met or did not meet. Exact figures are None where none can tell."""

    condition: str
    limit: float | None
    """The rule's limit where it is one for all these meals; None where there is none."""
    basis: str
    with_it: Share
    without_it: Share
    unknown: int
    hour_for_hour: bool
    animals: int
    """Animals whose meals can tell: with and without the condition, and both outcomes."""
    chances: Chances | None
    earlier: Chances | None
    """The same beside earlier meals alone, where no change for an outcome can reach."""
    exact: Exact | None
    common: CommonOdds | None
    pooled: Exact | None
    """Fisher's test as if no two meals were of one animal: shown, never claimed from."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A condition as an amount: whether meals that came back had more of it than others."""

    condition: str
    came_back: int
    stayed_down: int
    mean_back: float | None
    mean_stayed: float | None
    unknown: int
    hour_for_hour: bool
    animals: int
    chances: Chances | None
    earlier: Chances | None
    response: DoseResponse | None


def conditions(meals: Iterable[Fed]) -> list[str]:
    """Every condition that any meal has a figure for, in the order in which factors are told."""
    names: dict[str, None] = {}
    for meal in meals:
        names.update(dict.fromkeys(meal.fixed))
    return [name for name in names if name not in OUTCOMES]


def yes_no(condition: str, meals: Sequence[Fed]) -> YesNo:
    """A condition with its limit (or its word) against the outcomes."""
    marks = [(meal, _met(_shown(meal, condition))) for meal in meals]
    met = [meal.came_back for meal, mark in marks if mark is True]
    unmet = [meal.came_back for meal, mark in marks if mark is False]
    tables = {key: _table(marks) for key, marks in beside(condition, meals, _met)}
    every = list(tables.values())
    chances = chances_of([table.group() for table in every])
    limit, basis = _rule(condition, meals)
    return YesNo(
        condition=condition,
        limit=limit,
        basis=basis,
        with_it=wilson(sum(met), len(met)),
        without_it=wilson(sum(unmet), len(unmet)),
        unknown=len(meals) - len(met) - len(unmet),
        hour_for_hour=condition not in SETTLED,
        animals=len({key.animal for key, table in tables.items() if table.informative}),
        chances=chances,
        earlier=chances_of([_table(m).group() for _, m in earlier(condition, meals, _met)]),
        exact=exact_of(chances) if chances is not None else None,
        common=cochran_mantel_haenszel(every),
        pooled=fisher(Table(sum(met), len(met) - sum(met), sum(unmet), len(unmet) - sum(unmet))),
    )


def amount(condition: str, meals: Sequence[Fed]) -> Amount:
    """A condition as an amount against the outcomes, by ranks; its size by Firth."""
    level = {
        meal.meal: f"{animal} {number}"
        for (animal, number), near in stretches(meals).items()
        for meal in near
    }
    own = [(meal, dose) for meal in meals if (dose := _dose(_shown(meal, condition))) is not None]
    back = [dose for meal, dose in own if meal.came_back]
    stayed = [dose for meal, dose in own if not meal.came_back]
    groups = {key: _ranked(marked) for key, marked in beside(condition, meals, _dose)}
    return Amount(
        condition=condition,
        came_back=len(back),
        stayed_down=len(stayed),
        mean_back=fmean(back) if back else None,
        mean_stayed=fmean(stayed) if stayed else None,
        unknown=len(meals) - len(own),
        hour_for_hour=condition not in SETTLED,
        animals=len({key.animal for key, group in groups.items() if group.informative}),
        chances=chances_of(list(groups.values())),
        earlier=chances_of([_ranked(marked) for _, marked in earlier(condition, meals, _dose)]),
        response=firth(
            [dose for _, dose in own],
            [meal.came_back for meal, _ in own],
            [level[meal.meal] for meal, _ in own],
        ),
    )


# ---- counts and ranks ------------------------------------------------------------------------


def _table(marks: Sequence[tuple[bool, bool]]) -> Table:
    count = Counter(marks)
    return Table(count[True, True], count[False, True], count[True, False], count[False, False])


def _ranked(marks: Sequence[tuple[bool, float]]) -> Group:
    return Group(_ranks([dose for _, dose in marks]), [back for back, _ in marks])


def _ranks(values: Sequence[float]) -> list[int]:
    """Twice the mid-ranks, which are whole numbers."""
    order = np.asarray(values, dtype=np.float64)
    ordered = np.sort(order)
    below = np.searchsorted(ordered, order, side="left")
    up_to = np.searchsorted(ordered, order, side="right")
    return [int(rank) for rank in below + up_to + 1]


def _rule(condition: str, meals: Sequence[Fed]) -> tuple[float | None, str]:
    """The rule's limit, None where it differs from meal to meal, and where it comes from."""
    ones = [meal.fixed[condition] for meal in meals if condition in meal.fixed]
    limits = {one.limit for one in ones}
    bases = sorted({one.basis for one in ones})
    return limits.pop() if len(limits) == 1 else None, "; ".join(bases)


# ---- what a meal's figure says ---------------------------------------------------------------


def _shown(meal: Fed, condition: str) -> Measured | None:
    """The one figure of a meal that rates and medians are made of."""
    factors = meal.fixed if condition in SETTLED else meal.own
    return factors.get(condition) if factors is not None else None


def _met(one: Measured | None) -> bool | None:
    """Whether the condition was met: its rule broken, or another word than the usual one."""
    if one is None:
        return None
    if one.factor in WORDS:
        return one.value != WORDS[one.factor] if one.value is not None else None
    return one.breaks


def _dose(one: Measured | None) -> float | None:
    if one is None or not one.whole or not isinstance(one.rank_by, float):
        return None
    return one.rank_by if isfinite(one.rank_by) else None
