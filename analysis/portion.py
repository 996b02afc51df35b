"""How large the next meal may be: a window in grams and a width, and what that is sold as."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.measured import basis_text
from analysis.prey import kind_for
from analysis.waits import taken_by
from analysis.weights import Weight
from analysis.window import BEFORE_MS, midbody_mm
from collector.book.records import Meal, Weighing
from config.care import CareProfile


@dataclass(frozen=True, slots=True)
class Portion:
    """The window of a whole meal of one item. What is not known is None."""

    low_g: float
    high_g: float
    body_g: float
    body_at_ms: int
    halved: bool
    """After a meal that came back: half the size."""
    width_mm: float | None
    """The widest the prey may be."""
    kind: str | None
    low_kcal: float | None
    high_kcal: float | None
    energy_basis: str | None
    basis: tuple[str, ...]


def portion(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    masses: Sequence[Weight],
    care: CareProfile,
    now_ms: int,
) -> Portion | None:
    """The next meal's window of one animal; None without a weighing in the last 90 days.

    After a meal that came back, half of the usual window, and no more than half of that meal.
    """
    body = _body(masses, now_ms)
    if body is None:
        return None
    feeding = care.feeding
    share, half = feeding.prey_share, feeding.share_after_regurgitation
    low_g, high_g = (body.mass_g * pct / 100 for pct in (share.low, share.high))
    taken = taken_by(meals, now_ms)
    last = taken[-1][1] if taken else None
    halved = last is not None and last.outcome is not None and last.outcome.came_back
    basis = [basis_text(share)]
    if halved and last is not None:
        high_g = half.value * min(high_g, last.mass_g or high_g)
        low_g = min(half.value * low_g, high_g)
        basis.append(basis_text(half))
    body_mm = midbody_mm(weighings, now_ms)
    width = feeding.width_over_midbody_mm
    if body_mm is not None:
        basis.append(basis_text(width))
    kind = kind_for(low_g, high_g, care.prey)
    energy = kind.energy_kcal_per_g if kind is not None else None
    return Portion(
        low_g=low_g,
        high_g=high_g,
        body_g=body.mass_g,
        body_at_ms=body.at_ms,
        halved=halved,
        width_mm=body_mm + width.value if body_mm is not None else None,
        kind=kind.name if kind is not None else None,
        low_kcal=low_g * energy.value if energy is not None else None,
        high_kcal=high_g * energy.value if energy is not None else None,
        energy_basis=basis_text(energy) if energy is not None else None,
        basis=tuple(basis),
    )


def _body(masses: Sequence[Weight], now_ms: int) -> Weight | None:
    """The last mass of the last 90 days, rather one without a meal inside."""
    recent = [one for one in masses if now_ms - BEFORE_MS <= one.at_ms <= now_ms]
    empty = [one for one in recent if not one.fed]
    return max(empty or recent, key=lambda one: one.at_ms, default=None)
