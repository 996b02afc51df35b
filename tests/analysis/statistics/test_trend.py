"""The robust slope against its author's own example and against scipy."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from analysis.statistics.trend import theil_sen

SEN_X = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0]
SEN_Y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0]


def test_sens_own_example() -> None:
    """Sen 1968: slope 4, ends 26/7 and 35/8, the 4th slope from either end (scipy's own tests).

    He gives them for 93 %; at most 3 of 21 pairs discordant has 76 chances in 5,040, so that they
    hold 97.0 %. At 93 % the 5th slopes are sure enough: 174 chances in 5,040.
    """
    found = theil_sen(SEN_X, SEN_Y, confidence=1 - 2 * 76 / 5040)
    assert found is not None
    assert found.slope == pytest.approx(4.0, abs=1e-12)
    assert found.low == pytest.approx(26 / 7, abs=1e-12)
    assert found.high == pytest.approx(35 / 8, abs=1e-12)


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=20))
def test_the_slope_is_scipys(y: list[float]) -> None:
    x = [float(i) ** 1.3 for i in range(len(y))]
    found = theil_sen(x, y)
    assert found is not None
    assert found.slope == pytest.approx(float(theilslopes(y, x).slope), rel=1e-9, abs=1e-9)


def test_the_next_slope_inwards_would_not_be_sure_enough() -> None:
    """Over all 720 orders of six noises about a flat line, counted one by one."""
    noises = [1.0, 2.1, 3.3, 4.6, 6.0, 7.5]
    held = at_93 = 0
    for order in permutations(noises):
        found, looser = (theil_sen(list(range(6)), order, c) for c in (0.95, 0.93))
        assert found is not None
        assert looser is not None
        held += (found.low or 0) <= 0 <= (found.high or 0)
        at_93 += (looser.low or 0) <= 0 <= (looser.high or 0)
    # Inversions of six: 1, 5, 14, 29 ... of 720 orders with 0, 1, 2, 3.
    assert held == 720 - 2 * (1 + 5)
    assert at_93 == 720 - 2 * (1 + 5 + 14)


def test_five_points_are_the_fewest_for_95_percent() -> None:
    """All 10 pairs agree by chance in 2 of 120 orders; with 4 points in 2 of 24."""
    four, five = (theil_sen(list(range(n)), [0.0, 1.0, 4.0, 9.0, 16.0][:n]) for n in (4, 5))
    assert four is not None
    assert five is not None
    assert four.low is None
    assert (five.low, five.high) == (1.0, 7.0)


def test_one_odd_weighing_does_not_bend_it() -> None:
    x = [float(i) for i in range(12)]
    y = [2.0 * i for i in range(12)]
    y[6] = 900.0
    found = theil_sen(x, y)
    assert found is not None
    assert found.slope == pytest.approx(2.0)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """400 seeded lines with noise: at least 95 %, less three standard errors."""
    rng = np.random.default_rng(3)
    x = list(range(9))
    held = 0
    for _ in range(400):
        found = theil_sen(x, [0.7 * i + float(rng.standard_t(3)) for i in x])
        assert found is not None
        assert found.low is not None
        assert found.high is not None
        held += found.low <= 0.7 <= found.high
    assert held / 400 >= 0.95 - 3 * (0.05 * 0.95 / 400) ** 0.5


def test_same_x_is_one_point() -> None:
    assert theil_sen([1.0, 1.0], [2.0, 3.0]) is None
    twice = theil_sen([0.0, 0.0, 1.0], [1.0, 3.0, 5.0])
    assert twice is not None
    assert (twice.slope, twice.points) == (3.0, 2)
    with pytest.raises(ValueError, match="one y"):
        theil_sen([1.0], [])
