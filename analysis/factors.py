"""What may have gone into a meal's outcome, one by one, each against its rule and its animal.

A finding is "breaks the rule" when a rule of the care profile is broken whatever the missing
readings hid; "ordinary" when it is kept whatever they hid, or, where there is no rule, when it lies
within what the same animal kept down; "unusual for this animal" when it lies beyond all of that, in
the direction that could do harm; "unknown" otherwise.

The animal's own range is that of its other meals that stayed down, where at least five of them have
the figure. `among` says how many there are (n) and the rank of this meal among them and itself,
1 being further out than all: with n of them a harmless meal gets rank 1 with probability 1/(n + 1).
"""

from __future__ import annotations

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


def findings(mine: Sequence[Measured], stayed_down: Sequence[Sequence[Measured]]) -> list[Factor]:
    """The factors of a meal beside those of the same animal's other meals that stayed down."""
    others: dict[str, list[Measured]] = {}
    for meal in stayed_down:
        for one in meal:
            others.setdefault(one.factor, []).append(one)
    return [_judged(one, others.get(one.factor, [])) for one in mine]


def _judged(one: Measured, others: Iterable[Measured]) -> Factor:
    among = _among(one, [other for other in others if other.whole and other.rank_by is not None])
    return Factor(one.factor, one.value, one.limit, _finding(one, among), one.basis, among)


def _finding(one: Measured, among: Among | None) -> Finding:
    if one.breaks:
        return "breaks the rule"
    if among is not None and among.rank == 1:
        return "unusual for this animal"
    if one.breaks is None and (among is None or not one.whole):
        return "unknown"
    return "ordinary"


def _among(one: Measured, others: Sequence[Measured]) -> Among | None:
    if one.rank_by is None or len(others) < FEWEST:
        return None
    return Among(len(others), 1 + sum(_as_far_out(other, one) for other in others))


def _as_far_out(other: Measured, one: Measured) -> bool:
    """True when the other meal is no nearer to harmless than this one."""
    a, b = other.rank_by, one.rank_by
    if isinstance(a, str) or isinstance(b, str) or a is None or b is None:
        return a == b
    return a >= b if one.worse == "more" else a <= b
