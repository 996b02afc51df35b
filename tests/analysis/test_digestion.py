"""The digestion model against its table and against publications."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.digestion import model_days, rate_per_hour
from config.care import load_care_profile

MODEL = load_care_profile("boa-constrictor").digestion

# Days at 20, 25, 28, 30, 32 °C, worked out apart from the code from
# 7.0 d × (m / 25)^0.64 × 2.6^((30 − T) / 10).
TABLE = {
    5.0: (6.50, 4.03, 3.03, 2.50, 2.06),
    10.0: (10.12, 6.28, 4.71, 3.89, 3.22),
    25.0: (18.20, 11.29, 8.47, 7.00, 5.78),
}


@pytest.mark.parametrize("meal_pct", TABLE)
def test_table(meal_pct: float) -> None:
    days = [model_days(meal_pct, at_c, MODEL) for at_c in (20, 25, 28, 30, 32)]
    assert days == pytest.approx(TABLE[meal_pct], abs=0.02)


@pytest.mark.parametrize(
    ("meal_pct", "published_h", "model_h"), [(5.0, 54.0, 60.0), (40.0, 212.0, 227.0)]
)
def test_against_gavira_and_andrade_2013(
    meal_pct: float, published_h: float, model_h: float
) -> None:
    """Bothrops alternatus at 30 °C: within the model's stated accuracy of 25 %."""
    hours = 24 * model_days(meal_pct, 30.0, MODEL)
    assert hours == pytest.approx(model_h, abs=0.5)
    assert hours == pytest.approx(published_h, rel=0.25)


def test_against_zaidan_and_beaupre_2003() -> None:
    """Crotalus horridus, Physiol. Biochem. Zool. 76:447: 10–50 % at 25–30 °C, 4.3–15.4 d."""
    shortest, longest = model_days(10.0, 30.0, MODEL), model_days(50.0, 25.0, MODEL)
    assert (shortest, longest) == pytest.approx((3.9, 17.6), abs=0.1)
    assert shortest == pytest.approx(4.3, rel=0.25)
    assert longest == pytest.approx(15.4, rel=0.25)


def test_against_ott_and_secor_2007() -> None:
    """J. Exp. Biol. 210:340: 25 % meals, baseline by day 6–8 (that it was 30 °C: from memory)."""
    assert 6.0 <= model_days(25.0, 30.0, MODEL) <= 8.0


def test_longer_than_barium_takes_and_done_before_droppings() -> None:
    """Barium is through stomach and small intestine after 60 and 97 h (Arq. Bras. Med. Vet.
    Zootec. 72(6), 2020; a liquid: a lower bound); droppings at 8–14 d after a 25 % meal (Secor &
    Diamond 1995, J. Exp. Biol. 198:1313)."""
    assert 97.0 / 24 < model_days(25.0, 30.0, MODEL) < 14.0


def test_no_credit_for_more_heat_than_the_clamp() -> None:
    assert model_days(25.0, 40.0, MODEL) == model_days(25.0, 32.0, MODEL)


@given(st.floats(1, 60), st.floats(15, 32), st.floats(0.01, 10))
def test_colder_or_larger_takes_longer(meal_pct: float, at_c: float, more: float) -> None:
    days = model_days(meal_pct, at_c, MODEL)
    assert model_days(meal_pct, at_c - more, MODEL) > days
    assert model_days(meal_pct + more, at_c, MODEL) > days
    assert rate_per_hour(meal_pct, at_c, MODEL) * 24 * days == pytest.approx(1.0)


@pytest.mark.parametrize("meal_pct", [0.0, -1.0, float("nan")])
def test_a_meal_without_mass_has_no_time(meal_pct: float) -> None:
    with pytest.raises(ValueError, match="no time to digest"):
        model_days(meal_pct, 30.0, MODEL)
