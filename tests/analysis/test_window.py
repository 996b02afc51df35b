"""The window of a meal, and the masses it is measured by."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.digestion import model_days
from analysis.window import (
    DAY_MS,
    HOUR_MS,
    body_mass_g,
    full_length_ms,
    meal_pct,
    meal_window,
    midbody_mm,
)
from collector.book.records import Meal, Outcome, Weighing
from config.care import load_care_profile
from tests.analysis.lines import T0

CARE = load_care_profile("boa-constrictor")
LATER = T0 + 100 * DAY_MS
MEAL = Meal(meal=1, animal="Maren", taken_at_ms=T0, prey_mass_g=100.0)
WEIGHED = [Weighing("Maren", T0 - DAY_MS, mass_g=1000.0)]


def weighed(days: float, mass_g: float | None = 500.0, midbody: float | None = None) -> Weighing:
    return Weighing("Maren", T0 + round(days * DAY_MS), mass_g, midbody_mm=midbody)


# ---- body mass ------------------------------------------------------------------------------


def test_the_last_weighing_within_90_days_before_counts() -> None:
    assert body_mass_g([weighed(-90, 1.0), weighed(-5, 2.0), weighed(-6, 3.0)], T0) == 2.0
    assert body_mass_g([weighed(-90, 1.0)], T0) == 1.0
    assert body_mass_g([weighed(0, 4.0), weighed(1, 5.0)], T0) == 4.0


def test_else_the_first_within_30_days_after_else_unknown() -> None:
    assert body_mass_g([weighed(-90.01, 1.0), weighed(30, 2.0), weighed(29, 3.0)], T0) == 3.0
    assert body_mass_g([weighed(-90.01, 1.0), weighed(30, 2.0)], T0) == 2.0
    assert body_mass_g([weighed(30.01)], T0) is None
    assert body_mass_g([], T0) is None


def test_a_weighing_without_the_measure_is_passed_over() -> None:
    both = [weighed(-9, 800.0, 41.0), weighed(-1, None, 42.0), weighed(-0.5, 810.0, None)]
    assert body_mass_g(both, T0) == 810.0
    assert midbody_mm(both, T0) == 42.0


def test_meal_share_counts_all_items_and_never_guesses() -> None:
    assert meal_pct(replace(MEAL, prey_count=2), 1000.0) == pytest.approx(20.0)
    assert meal_pct(MEAL, 1000.0) == pytest.approx(10.0)
    assert meal_pct(replace(MEAL, prey_mass_g=None), 1000.0) is None
    assert meal_pct(MEAL, None) is None
    assert meal_pct(MEAL, 0.0) is None


# ---- length ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pct", "days"),
    [
        (5.0, 3.0),  # 2.50 d by the model: at least 72 h
        (10.0, model_days(10.0, 30.0, CARE.digestion)),
        (25.0, 7.0),
        (80.0, 14.0),  # 14.7 d by the model: at most 14 days
        (None, 7.0),
    ],
)
def test_full_length(pct: float | None, days: float) -> None:
    assert full_length_ms(pct, CARE) == pytest.approx(days * DAY_MS, abs=0.5)


def test_complete() -> None:
    window = meal_window(MEAL, [MEAL], WEIGHED, CARE, LATER)
    assert window.ended_by == "complete"
    assert window.hours == pytest.approx(24 * model_days(10.0, 30.0, CARE.digestion), abs=1e-6)
    assert (window.end_ms - window.start_ms) / HOUR_MS == window.hours


# ---- what ends it early ---------------------------------------------------------------------


@pytest.mark.parametrize("outcome", [Outcome.REGURGITATED, Outcome.VOMITED])
def test_it_ends_when_the_meal_came_back(outcome: Outcome) -> None:
    back = replace(MEAL, outcome=outcome, outcome_at_ms=T0 + 41 * HOUR_MS)
    window = meal_window(back, [back], WEIGHED, CARE, LATER)
    assert (window.hours, window.ended_by) == (41.0, "outcome")


@pytest.mark.parametrize(
    "meal",
    [
        replace(MEAL, outcome=Outcome.PASSED, outcome_at_ms=T0 + 41 * HOUR_MS),
        replace(MEAL, outcome=Outcome.REGURGITATED),
        replace(MEAL, outcome=Outcome.REGURGITATED, outcome_at_ms=T0),
        replace(MEAL, outcome=Outcome.REGURGITATED, outcome_at_ms=T0 + 30 * DAY_MS),
    ],
)
def test_other_outcomes_and_unknown_times_do_not_end_it(meal: Meal) -> None:
    assert meal_window(meal, [meal], WEIGHED, CARE, LATER).ended_by == "complete"


def test_it_ends_at_the_next_meal_taken() -> None:
    def at(hours: float, **fields: object) -> Meal:
        return Meal(meal=2, animal="Maren", taken_at_ms=T0 + round(hours * HOUR_MS), **fields)  # type: ignore[arg-type]

    offers = [
        MEAL,
        at(-20),
        Meal(meal=9, animal="Maren", offered_at_ms=T0 + HOUR_MS, outcome=Outcome.REFUSED),
        at(10, outcome=Outcome.REFUSED),
        at(60),
        at(50),
    ]
    window = meal_window(MEAL, offers, WEIGHED, CARE, LATER)
    assert (window.hours, window.ended_by) == (50.0, "next meal")


def test_it_ends_now_and_is_never_of_negative_length() -> None:
    assert meal_window(MEAL, [MEAL], WEIGHED, CARE, T0 + HOUR_MS).ended_by == "now"
    early = meal_window(MEAL, [MEAL], WEIGHED, CARE, T0 - HOUR_MS)
    assert (early.hours, early.ended_by) == (0.0, "now")


def test_of_two_ends_at_once_the_first_named_is_given() -> None:
    end_ms = T0 + full_length_ms(10.0, CARE)
    following = replace(MEAL, meal=2, taken_at_ms=end_ms)
    assert meal_window(MEAL, [MEAL, following], WEIGHED, CARE, end_ms).ended_by == "complete"


@pytest.mark.parametrize(
    "meal", [replace(MEAL, taken_at_ms=None), replace(MEAL, outcome=Outcome.REFUSED)]
)
def test_an_offer_that_was_not_taken_has_no_window(meal: Meal) -> None:
    with pytest.raises(ValueError, match="no window"):
        meal_window(meal, [meal], WEIGHED, CARE, LATER)
