"""What may have gone into a meal's outcome, one by one, each against its rule and its animal.

A finding is "breaks the rule" when a rule of the care profile is broken whatever the missing
readings hid; "ordinary" when it is kept whatever they hid, or, where there is no rule, when it lies
within what the same animal kept down; "unusual for this animal" when it lies beyond all of that, in
the direction that could do harm; "unknown" otherwise.

The animal's own range is that of its other meals that stayed down. `among` says how many of them
have the figure (n) and the rank of this meal among them and itself, 1 being further out than all:
with n of them a harmless meal gets rank 1 with probability 1/(n + 1). With fewer than five nothing
is found on their account.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.measured import Measured

Finding = Literal["breaks the rule", "unusual for this animal", "ordinary", "unknown"]

FEWEST = 5
"""Meals that stayed down before one is called unusual beside them (our own choice): with fewer,
more than one harmless meal in six would be."""


@dataclass(frozen=True, slots=True)
class Among:
    """This meal among the `n` of the same animal that stayed down; rank 1: beyond all of them."""

    n: int
    rank: int


@dataclass(frozen=True, slots=True)
class Factor:
    """One factor of one meal. `limit` is the rule's, None where there is none."""

    factor: str
    value: float | str | None
    limit: float | None
    finding: Finding
    basis: str
    among: Among | None = None


class StayedDown:
    """What one animal kept down: the figures of its meals, for setting others beside them."""

    def __init__(self, meals: Iterable[Sequence[Measured]]) -> None:
        self._figures: dict[str, list[float]] = {}
        self._words: dict[str, Counter[str]] = {}
        for one in (one for meal in meals for one in meal if comparable(one)):
            if isinstance(one.rank_by, str):
                self._words.setdefault(one.factor, Counter())[one.rank_by] += 1
            elif one.rank_by is not None:
                self._figures.setdefault(one.factor, []).append(_harm(one.rank_by, one))
        for figures in self._figures.values():
            figures.sort()

    def among(self, one: Measured, *, is_one: bool) -> Among | None:
        """This meal's place among them, None where none of them has the figure.

        `is_one`: this meal is one of them itself, and is not counted among the others.
        """
        if one.rank_by is None:
            return None
        itself = int(is_one and comparable(one))
        n, as_far_out = self._counts(one, one.rank_by)
        if n - itself < 1:
            return None
        return Among(n - itself, 1 + as_far_out - itself)

    def _counts(self, one: Measured, rank_by: float | str) -> tuple[int, int]:
        """How many have the figure, and how many of those are no nearer to harmless."""
        if isinstance(rank_by, str):
            words = self._words.get(one.factor, Counter())
            return words.total(), words[rank_by]
        figures = self._figures.get(one.factor, [])
        return len(figures), len(figures) - bisect_left(figures, _harm(rank_by, one))


def comparable(one: Measured) -> bool:
    """True when a figure may stand for what the animal is used to: nothing of it is missing."""
    return one.whole and one.rank_by is not None


def findings(mine: Sequence[Measured], down: StayedDown, *, is_one: bool) -> list[Factor]:
    """The factors of a meal beside what the same animal kept down (`is_one`: this meal, too)."""
    return [_judged(one, down.among(one, is_one=is_one)) for one in mine]


def _judged(one: Measured, among: Among | None) -> Factor:
    return Factor(one.factor, one.value, one.limit, _finding(one, among), one.basis, among)


def _finding(one: Measured, among: Among | None) -> Finding:
    if one.breaks:
        return "breaks the rule"
    enough = among is not None and among.n >= FEWEST
    if among is not None and enough and among.rank == 1:
        return "unusual for this animal"
    if one.breaks is None and not (enough and one.whole):
        return "unknown"
    return "ordinary"


def _harm(rank_by: float, one: Measured) -> float:
    return rank_by if one.worse == "more" else -rank_by
