"""Many conditions looked at in one book: how sure one of them has to be before it is named.

Holm's way, made sharper for small counts after Tarone: a condition whose numbers could not have
shown anything at that level, whatever the outcomes, cannot claim anything falsely and is not
counted against the others.

Sources: Holm 1979, Scand. J. Stat. 6:65; Tarone 1990, Biometrics 46:515; the two together in
Hommel & Krummenauer 1998, Biometrics 54:673 (all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


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


def holm_tarone(tests: Sequence[Evidence], level: float = 0.05) -> list[Corrected]:
    """Correct every p so that all false names together stay under `level`, in the given order.

    The tests may depend on each other in any way. The conditions still standing are counted anew
    after each one that is named; a corrected p is `counted × p`, never below an earlier one, at
    most 1. With every smallest_p zero this is Holm's method.
    """
    order = sorted(range(len(tests)), key=lambda i: tests[i].p)
    corrected: dict[int, Corrected] = {}
    floor, open_still = 0.0, True
    for place, index in enumerate(order):
        counted = could_show([tests[i].smallest_p for i in order[place:]], level)
        floor = max(floor, min(1.0, counted * tests[index].p))
        open_still = open_still and floor <= level
        corrected[index] = Corrected(floor, counted, named=open_still)
    return [corrected[i] for i in range(len(tests))]


def could_show(smallest: Sequence[float], level: float = 0.05) -> int:
    """Against how many conditions one has to be counted (Tarone's K), at least 1.

    The least k for which no more than k of them could ever reach `level / k`.
    """
    k = 1
    while sum(p <= level / k for p in smallest) > k:
        k += 1
    return k
