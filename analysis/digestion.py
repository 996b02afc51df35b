"""How long a meal takes to digest: one formula, three cited parameters. Pure, and light.

    D(m, T) = days × (m / meal)^exponent × Q10^((reference − T) / 10)

m is the meal's mass in % of body mass, T the temperature in °C, D in days. The parameters stand in
the care profile, each with its source. Progress is the integral of dt / D(m, T(t)); a meal is
through when it reaches 1.

Range: meals of 5–50 % at 20–32 °C. Honest accuracy ±25 % at 25–30 °C, ±50 % below 22 °C. The
species' own published figures (Toledo, Abe & Andrade 2003, Physiol. Biochem. Zool. 76:240) have
not been read: that check is open.
"""

from __future__ import annotations

import math

from config.care import Digestion

AT_C = 30.0
"""The temperature at which a meal's time is named and its window is measured, in °C."""


def model_days(meal_pct: float, at_c: float, model: Digestion) -> float:
    """Days to digest a meal of `meal_pct` % of body mass at a constant `at_c` °C.

    Warmer than the profile's clamp gives no more credit. Raises ValueError for a meal without
    mass: such a meal has no time.
    """
    return _size_days(meal_pct, model) * math.exp(
        growth_per_c(model) * (model.reference_c.value - min(at_c, model.clamp_c.value))
    )


def rate_per_hour(meal_pct: float, at_c: float, model: Digestion) -> float:
    """Share of the meal digested in an hour at `at_c` °C: 1 / D, in 1/h."""
    return 1.0 / (24.0 * model_days(meal_pct, at_c, model))


def growth_per_c(model: Digestion) -> float:
    """How much the logarithm of the rate grows with each °C: ln(Q10) / 10, in 1/K."""
    return math.log(model.q10.value) / 10.0


def _size_days(meal_pct: float, model: Digestion) -> float:
    if not meal_pct > 0:
        raise ValueError(f"a meal of {meal_pct} % of body mass has no time to digest")
    share = meal_pct / model.reference_meal_pct.value
    return float(model.reference_days.value * share**model.exponent.value)
