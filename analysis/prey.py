"""Kinds of prey: what a keeper's words mean, what a mass is sold as, and what is in it. Light."""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import log

from collector.book.records import Meal
from config.care import PreyKind

FAIR_PART = 0.2
"""A kind that covers less of a window than this is not named beside the others (our own choice)."""


def kind_for(low_g: float, high_g: float, kinds: Sequence[PreyKind]) -> PreyKind | None:
    """The kind whose trade sizes cover most of the window from `low_g` to `high_g`, of one item.

    Only kinds for every day; the first listed wins where several cover as much; None where no kind
    weighs that.
    """
    if not 0 < low_g <= high_g:
        raise ValueError(f"no prey weighs {low_g} to {high_g} g")
    staples = [kind for kind in kinds if kind.staple]
    covered = [_covered(kind, low_g, high_g) for kind in staples]
    best = max(covered, default=0.0)
    return staples[covered.index(best)] if best > 0 else None


def kinds_for(low_g: float, high_g: float, kinds: Sequence[PreyKind]) -> list[PreyKind]:
    """The kind for a window and its neighbours of the same animal, the lightest first.

    A neighbour counts when it covers a fair part of the window, or both would be a guess.
    """
    best = kind_for(low_g, high_g, kinds)
    if best is None:
        return []
    return sorted(
        (
            kind
            for kind in kinds
            if kind is best
            or (
                kind.staple
                and set(kind.words) & set(best.words)
                and _covered(kind, low_g, high_g) >= FAIR_PART
            )
        ),
        key=lambda kind: kind.mass_g.low,
    )


def kind_of(prey: str | None, mass_g: float | None, kinds: Sequence[PreyKind]) -> PreyKind | None:
    """The kind that a keeper's own word means, such as "frozen rat" of 120 g.

    The name of a kind is taken as it stands; otherwise the word for the animal and the mass of one
    item say which. None where the word is not known, or the mass is missing and several kinds
    share the word.
    """
    words = re.findall(r"[^\W_]+(?:-[^\W_]+)*", (prey or "").casefold())
    named = [kind for kind in kinds if kind.name.casefold() == " ".join(words)]
    if named:
        return named[0]
    meant = [kind for kind in kinds if {w.casefold() for w in kind.words} & set(words)]
    if mass_g is None or mass_g <= 0:
        return meant[0] if len(meant) == 1 else None
    return min(meant, key=lambda kind: _distance(kind, mass_g), default=None)


def energy_kcal(meal: Meal, kinds: Sequence[PreyKind]) -> float | None:
    """Energy of a whole meal as fed, in kcal; None where the mass or the kind's energy is unknown.

    Source of the energies: beside each in the care profile.
    """
    kind = kind_of(meal.prey, meal.prey_mass_g, kinds)
    if meal.mass_g is None or kind is None or kind.energy_kcal_per_g is None:
        return None
    return meal.mass_g * kind.energy_kcal_per_g.value


def _covered(kind: PreyKind, low_g: float, high_g: float) -> float:
    """The share of the window that the kind's sizes cover; of a window of one mass, 1 or 0."""
    low, high = max(low_g, kind.mass_g.low), min(high_g, kind.mass_g.high)
    if high_g == low_g:
        return 1.0 if low <= high else 0.0
    return max(0.0, high - low) / (high_g - low_g)


def _distance(kind: PreyKind, mass_g: float) -> float:
    """How far a mass lies outside the kind's sizes, as a ratio; 0 inside."""
    if mass_g < kind.mass_g.low:
        return log(kind.mass_g.low / mass_g)
    return max(0.0, log(mass_g / kind.mass_g.high))
