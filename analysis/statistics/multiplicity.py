"""Many conditions looked at in one book: how sure one of them has to be before it is named.

Holm's way, made sharper for small counts after Tarone: a condition whose numbers could not have
come as far as a p, whatever the outcomes, is not counted when that p is corrected.

Why it holds: let m(t) be how many of the tests without a true effect could reach a p of t at all.
At most t of each one's books do, so a p that any of them brings to t or below is in at most
m(t) · t of all books; and m(t) · t only rises with t. Counting tests with a true effect besides
makes a corrected p larger, never smaller.

Sources: Holm 1979, Scand. J. Stat. 6:65; Tarone 1990, Biometrics 46:515; for one count at every
level Hommel & Krummenauer 1998, Biometrics 54:673, and Roth 1999, J. Stat. Plan. Inference 82:101
(all from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_SAME = 1 + 1e-9
"""A p that is the smallest there could be is not past it by rounding."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """A condition's p and the smallest p that its numbers could have given."""

    p: float
    smallest_p: float


@dataclass(frozen=True, slots=True)
class Corrected:
    """The p after counting how many conditions were looked at, and whether it may be named."""

    p: float
    counted: int
    """How many conditions it was counted against, itself among them."""
    named: bool
    smallest_p: float
    """The smallest corrected p that its numbers could have given, beside all those not named."""


def holm_tarone(tests: Sequence[Evidence], level: float = 0.05) -> list[Corrected]:
    """Correct every p so that all false names together stay under `level`, in the given order.

    The tests may depend on each other in any way. The conditions still standing are counted anew
    after each one that is passed; a corrected p is `counted × p`, never below an earlier one, at
    most 1. With every smallest_p zero this is Holm's method.
    """
    order = sorted(range(len(tests)), key=lambda i: tests[i].p)
    corrected: dict[int, Corrected] = {}
    floor, open_still = 0.0, [one.smallest_p for one in tests]
    for place, index in enumerate(order):
        one = tests[index]
        counted = could_reach(one.p, (tests[i].smallest_p for i in order[place:]))
        floor = max(floor, min(1.0, counted * one.p))
        best = min(1.0, could_reach(one.smallest_p, open_still) * one.smallest_p)
        corrected[index] = Corrected(floor, counted, named=floor <= level, smallest_p=best)
        if floor <= level:
            open_still.remove(one.smallest_p)
    return [corrected[i] for i in range(len(tests))]


def could_reach(p: float, smallest: Iterable[float]) -> int:
    """How many of the tests could have given a p this small at all."""
    return sum(one <= p * _SAME for one in smallest)
