"""Firth's logistic regression where the answer is known."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.stats import chi2

from analysis.statistics.dose_response import firth


def _two_by_two(a: int, b: int, c: int, d: int) -> tuple[list[float], list[bool], list[str]]:
    dose = [1.0] * (a + b) + [0.0] * (c + d)
    came_back = [True] * a + [False] * b + [True] * c + [False] * d
    return dose, came_back, ["Nera"] * len(dose)


def test_one_yes_or_no_is_half_added_to_each_cell() -> None:
    """[[5, 0], [2, 8]]: Firth 1993; the profile interval computed with the reference library."""
    found = firth(*_two_by_two(5, 0, 2, 8))
    assert found is not None
    assert found.log_odds_per_unit == pytest.approx(3.6216707, abs=5e-8)
    assert found.log_odds_per_unit == pytest.approx(log(5.5 * 8.5 / (0.5 * 2.5)), abs=1e-9)
    assert found.low == pytest.approx(1.01187, abs=5e-6)
    assert found.high == pytest.approx(8.63395, abs=5e-6)
    assert (found.meals, found.groups) == (15, 1)


@settings(max_examples=25, deadline=None)
@given(
    st.tuples(*[st.integers(0, 9)] * 4).filter(
        lambda c: min(c[0] + c[1], c[2] + c[3], c[0] + c[2], c[1] + c[3]) > 0
    )
)
@example((7, 8, 5, 4))  # does not settle to 1e-8 of the dose
def test_the_law_of_the_half(cells: tuple[int, int, int, int]) -> None:
    a, b, c, d = (cell + 0.5 for cell in cells)
    found = firth(*_two_by_two(*cells))
    assert found is not None
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.log_odds_per_unit < found.high
    assert found.log_odds_per_unit == pytest.approx(log(a * d / (b * c)), abs=1e-6)


def test_the_unit_of_the_dose_does_not_matter() -> None:
    rng = np.random.default_rng(4)
    dose = rng.gamma(1.0, 20.0, size=60)
    came_back = [bool(x) for x in rng.random(60) < 1 / (1 + np.exp(2.5 - dose / 20))]
    animal = [f"animal {i % 4}" for i in range(60)]
    hours = firth(list(dose), came_back, animal)
    days = firth(list(dose / 24), came_back, animal)
    assert hours is not None
    assert days is not None
    assert hours.odds_times(24.0) == pytest.approx(days.odds_times(1.0), rel=1e-6)
    times, low, high = hours.odds_times(10.0)
    assert low is not None
    assert high is not None
    assert low < times < high


def test_animals_that_cannot_tell_are_left_out() -> None:
    dose, came_back, animal = _two_by_two(3, 2, 1, 6)
    found = firth(dose, came_back, animal)
    with_more = firth([*dose, 4.0, 9.0], [*came_back, False, False], [*animal, "Ombra", "Ombra"])
    assert found == with_more
    assert firth([1.0, 2.0], [True, True], ["Nera", "Nera"]) is None


def test_one_dose_everywhere_says_nothing() -> None:
    assert firth([3.0] * 6, [True, False] * 3, ["Nera"] * 6) is None


def _penalised(log_odds: np.ndarray, design: np.ndarray, y: np.ndarray) -> float:
    """Firth 1993: the log likelihood and half the log determinant of the information."""
    eta = design @ log_odds
    chance = 1 / (1 + np.exp(-eta))
    weighted = design * (chance * (1 - chance))[:, np.newaxis]
    return float(
        y @ eta - np.logaddexp(0, eta).sum() + np.linalg.slogdet(design.T @ weighted)[1] / 2
    )


def test_three_groups_against_scipys_optimiser() -> None:
    """Estimate and profile ends of the penalised likelihood, each group with its own level."""
    rng = np.random.default_rng(12)
    group = [f"animal {i % 3}" for i in range(36)]
    dose = rng.gamma(2.0, 2.0, size=36)
    own = np.array([i % 3 for i in range(36)]) * 0.8
    came_back = [bool(x) for x in rng.random(36) < 1 / (1 + np.exp(3.0 - 0.5 * dose - own))]
    found = firth(list(dose), came_back, group)
    assert found is not None
    assert (found.meals, found.groups) == (36, 3)
    levels = np.array([[name == f"animal {k}" for k in range(3)] for name in group], dtype=float)
    y = np.array(came_back, dtype=float)
    design = np.column_stack([dose, levels])

    def profile(slope: float) -> float:
        def away(rest: np.ndarray) -> float:
            return -_penalised(np.concatenate([[slope], rest]), design, y)

        return -float(minimize(away, np.zeros(3), method="BFGS", options={"gtol": 1e-7}).fun)

    best = minimize_scalar(lambda slope: -profile(slope), bracket=(0.0, 0.5))
    assert found.log_odds_per_unit == pytest.approx(float(best.x), abs=1e-4)
    drop = float(chi2.ppf(0.95, 1)) / 2
    ends = [
        brentq(lambda slope: profile(slope) + float(best.fun) + drop, *between)
        for between in ((best.x - 2, best.x), (best.x, best.x + 2))
    ]
    assert (found.low, found.high) == pytest.approx(tuple(ends), abs=1e-3)


def test_doses_that_differ_between_animals_alone_say_nothing() -> None:
    """Each animal always with one dose: its level and the dose cannot be told apart."""
    came_back = [True, False, False, False, True, True, False, False]
    animal = ["Nera"] * 4 + ["Ombra"] * 4
    assert firth([1.0] * 4 + [5.0] * 4, came_back, animal) is None
    one = firth([1.0] * 4 + [5.0, 2.0, 3.0, 4.0], came_back, animal)
    assert one is not None
    assert (one.meals, one.groups) == (4, 1)
    near = [1.0, 1.0 + 3e-16, 1.0, 1.0, 5.0, 5.0 + 1e-15, 5.0, 5.0]
    assert firth(near, came_back, animal) is None


def test_separated_meals_have_a_finite_answer() -> None:
    """Ordinary maximum likelihood would be infinite here."""
    dose = [0.0, 1.0, 2.0, 30.0, 31.0, 40.0]
    found = firth(dose, [x > 10 for x in dose], ["Nera"] * 6)
    assert found is not None
    assert 1 < exp(10 * found.log_odds_per_unit) < 1e6
