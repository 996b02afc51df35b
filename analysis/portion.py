"""How large the next meal may be: a window in grams and a width, and what that is sold as."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.body_look import State
from analysis.measured import basis_text
from analysis.prey import kind_for, kinds_for
from analysis.vet_signs import last_that_came_back
from analysis.weights import Weight, body_now
from analysis.window import BEFORE_MS, midbody_mm
from collector.book.records import Meal, Weighing
from config.care import CareProfile

Rather = Literal["larger", "smaller"]


@dataclass(frozen=True, slots=True)
class Portion:
    """The window of a whole meal of one item. What is not known is None."""

    low_g: float
    high_g: float
    body_g: float
    body_at_ms: int
    halved: bool
    """After a meal that came back: half the size."""
    rather: Rather | None
    """Which end of the window is meant for it: a thin animal's meal is larger, not sooner."""
    width_mm: float | None
    """The widest the prey may be."""
    kind: str | None
    """The kind whose trade sizes cover most of the window."""
    kinds: tuple[str, ...]
    """Every kind that covers a fair part of it, the lightest first."""
    low_kcal: float | None
    high_kcal: float | None
    energy_basis: tuple[str, ...]
    basis: tuple[str, ...]


def portion(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    masses: Sequence[Weight],
    *,
    state: State,
    care: CareProfile,
    now_ms: int,
) -> Portion | None:
    """The next meal's window of one animal; None without a weighing in the last 90 days.

    After a meal that came back, and until one is known to have stayed down: half of the usual
    window, and no more than half of that meal.
    """
    body = body_now(masses, now_ms, BEFORE_MS)
    if body is None:
        return None
    feeding = care.feeding
    share, half = feeding.prey_share, feeding.share_after_regurgitation
    low_g, high_g = (body.mass_g * pct / 100 for pct in (share.low, share.high))
    back = last_that_came_back(meals, now_ms)
    basis = [basis_text(share)]
    if back is not None:
        high_g = half.value * min(high_g, back.mass_g or high_g)
        low_g = min(half.value * low_g, high_g)
        basis.append(basis_text(half))
    body_mm, width = midbody_mm(weighings, now_ms), feeding.width_over_midbody_mm
    if body_mm is not None:
        basis.append(basis_text(width))
    kind, fitting = kind_for(low_g, high_g, care.prey), kinds_for(low_g, high_g, care.prey)
    energies = [one.energy_kcal_per_g for one in fitting if one.energy_kcal_per_g is not None]
    known = len(energies) == len(fitting) > 0
    return Portion(
        low_g=low_g,
        high_g=high_g,
        body_g=body.mass_g,
        body_at_ms=body.at_ms,
        halved=back is not None,
        rather=_rather(state) if back is None else None,
        width_mm=body_mm + width.value if body_mm is not None else None,
        kind=kind.name if kind is not None else None,
        kinds=tuple(one.name for one in fitting),
        low_kcal=low_g * min(one.value for one in energies) if known else None,
        high_kcal=high_g * max(one.value for one in energies) if known else None,
        energy_basis=tuple(dict.fromkeys(map(basis_text, energies))) if known else (),
        basis=tuple(basis),
    )


def at_most_g(meals: Sequence[Meal], care: CareProfile, now_ms: int) -> float | None:
    """Half of the last meal that came back: the most there may be, whatever the animal weighs."""
    back = last_that_came_back(meals, now_ms)
    if back is None or back.mass_g is None:
        return None
    return care.feeding.share_after_regurgitation.value * back.mass_g


def _rather(state: State) -> Rather | None:
    if state == "thin":
        return "larger"
    return "smaller" if state == "heavy" else None
