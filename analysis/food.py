"""How much an animal was fed, in g and kcal, for its body mass and a month; and what is usual."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.ages import intervals
from analysis.prey import energy_kcal
from analysis.weights import MONTH_DAYS
from analysis.window import DAY_MS, body_mass_g, meal_pct, taken_at_ms
from collector.book.records import Meal, Weighing
from config.care import CareProfile

LEAST_DAYS = 28.0
"""Fewer days of records than this make no month (our own choice)."""


@dataclass(frozen=True, slots=True)
class Food:
    """What was taken and stayed down over the last days, for a mean month of 30.4 days.

    Where the mass, the body mass or the energy of a meal is not known it adds nothing, so that a
    figure is "at least" when its count of unknown ones is not 0; None where all are unknown.
    """

    days: float
    meals: int
    came_back: int
    g_month: float | None
    pct_month: float | None
    """In % of the body mass at each meal."""
    kcal_month: float | None
    mass_unknown: int
    share_unknown: int
    energy_unknown: int
    usual_low_pct: float
    usual_high_pct: float

    @property
    def under(self) -> bool:
        """Less than is usual, and nothing unknown that could have made it more."""
        known = self.pct_month is not None and not self.share_unknown
        return known and (self.pct_month or 0.0) < self.usual_low_pct

    @property
    def over(self) -> bool:
        """More than is usual, whatever the unknown ones were."""
        return self.pct_month is not None and self.pct_month > self.usual_high_pct


def food(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    age_months: int | None,
    care: CareProfile,
    now_ms: int,
) -> Food | None:
    """One animal's food over the profile's last days; None with records of fewer than 28 days.

    Where records begin later than that, from the first of them on, the meal at their beginning
    not counted: it belongs to the time before.
    """
    taken = [(at_ms, meal) for meal in meals if (at_ms := taken_at_ms(meal)) is not None]
    firsts = [at_ms for at_ms, _ in taken] + [one.at_ms for one in weighings]
    longest_ms = round(care.condition.food_days.value * DAY_MS)
    from_ms = max(min(firsts, default=now_ms), now_ms - longest_ms)
    days = (now_ms - from_ms) / DAY_MS
    if days < LEAST_DAYS:
        return None
    within = [meal for at_ms, meal in taken if from_ms < at_ms <= now_ms]
    kept = [meal for meal in within if meal.outcome is None or not meal.outcome.came_back]
    grams = [meal.mass_g for meal in kept]
    shares = [meal_pct(meal, body_mass_g(weighings, meal.taken_at_ms or 0)) for meal in kept]
    energies = [energy_kcal(meal, care.prey) for meal in kept]
    usual = usual_pct_month(age_months, care)
    months = days / MONTH_DAYS
    return Food(
        days=days,
        meals=len(kept),
        came_back=len(within) - len(kept),
        g_month=_a_month(grams, months),
        pct_month=_a_month(shares, months),
        kcal_month=_a_month(energies, months),
        mass_unknown=grams.count(None),
        share_unknown=shares.count(None),
        energy_unknown=energies.count(None),
        usual_low_pct=usual[0],
        usual_high_pct=usual[1],
    )


def usual_pct_month(age_months: int | None, care: CareProfile) -> tuple[float, float]:
    """From the smallest meals at the longest interval to the largest at the shortest, in %.

    The age's interval; of all ages where it is not known.
    """
    fitting = intervals(age_months, care)
    share = care.feeding.prey_share
    low = share.low * MONTH_DAYS / max(span.high for span in fitting)
    return low, share.high * MONTH_DAYS / min(span.low for span in fitting)


def _a_month(figures: Sequence[float | None], months: float) -> float | None:
    """Their sum for a month; nothing eaten is 0, nothing known is None."""
    known = [figure for figure in figures if figure is not None]
    return sum(known) / months if known or not figures else None
