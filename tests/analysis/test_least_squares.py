"""The small fitter against certified values, scipy, and curves that cannot be fitted."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import norm, t

from analysis.least_squares import Curve, Fit, Prior, fit, student_t

# NIST StRD nonlinear regression, Misra1a: data and certified values from memory. The certified
# residual sum of squares, met to eleven digits, stands for the data too.
MISRA_X = (77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1,
           760.0)  # fmt: skip
MISRA_Y = (10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40,
           75.47, 81.78)  # fmt: skip
# NIST StRD, BoxBOD: data and certified values from memory, held by its residual sum of squares.
BOX_X, BOX_Y = (1, 2, 3, 5, 7, 10), (109, 149, 149, 191, 213, 224)


def rising(x: Sequence[float]) -> Curve:
    """y = b1 (1 − exp(−b2 x))."""

    def curve(b: Sequence[float]) -> Iterator[tuple[float, Sequence[float]]]:
        for one in x:
            left = math.exp(-b[1] * one)
            yield b[0] * (1 - left), (1 - left, b[0] * one * left)

    return curve


@pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)])
def test_misra1a_is_met_from_both_of_its_starts(start: tuple[float, float]) -> None:
    found = fit(rising(MISRA_X), MISRA_Y, start)
    assert found is not None
    assert found.parameters == pytest.approx((238.94212918, 5.5015643181e-4), rel=1e-9)
    assert found.rss == pytest.approx(0.12455138894, rel=1e-10)
    assert found.se(0) == pytest.approx(2.7070075241, rel=1e-7)
    assert found.se(1) == pytest.approx(7.2668688436e-6, rel=1e-7)
    assert found.freedom == 12


def test_boxbod_is_met_from_its_near_start() -> None:
    found = fit(rising(BOX_X), BOX_Y, (100.0, 0.75))
    assert found is not None
    assert found.parameters == pytest.approx((213.80940889, 0.54723748542), rel=1e-8)
    assert found.rss == pytest.approx(1168.0088766, rel=1e-10)


@pytest.mark.parametrize("start", [(1.0, 1.0), (1.0, 100.0), (100.0, 1000.0)])
def test_boxbod_from_far_is_right_or_refused(start: tuple[float, float]) -> None:
    """The trap: from (1, 1) scipy ends at b2 near 100, with infinite covariance and no error."""
    found = fit(rising(BOX_X), BOX_Y, start)
    if start == (1.0, 1.0):
        with pytest.warns(match="Covariance"):
            far, covariance = curve_fit(
                lambda x, a, b: a * (1 - np.exp(-b * x)), np.array(BOX_X, float), BOX_Y, p0=start
            )
        assert np.isinf(covariance).all()
        assert far[1] > 10
    assert found is None or found.rss == pytest.approx(1168.0088766, rel=1e-8)
    if start[1] > 10:
        assert found is None


def test_what_is_not_determined_is_refused() -> None:
    def twins(b: Sequence[float]) -> Iterator[tuple[float, Sequence[float]]]:
        for x in range(5):
            yield (b[0] + b[1]) * x, (x, x)

    observed = [0.0, 1.0, 2.1, 2.9, 4.0]
    assert fit(twins, observed, (0.1, 0.3)) is None
    held = fit(twins, observed, (0.1, 0.3), sigma=0.1, priors=[Prior(1, 0.25, 0.01)])
    assert held is not None
    assert held.parameters[1] == pytest.approx(0.25, abs=1e-6)
    assert held.parameters[0] == pytest.approx(29.9 / 30 - 0.25, abs=1e-6)  # Σxy / Σx², less 0.25


def test_fewer_observations_than_parameters_and_numbers_left_are_refused() -> None:
    assert fit(rising([1.0, 2.0]), [1.0, 2.0], (1.0, 1.0)) is None
    assert fit(rising(MISRA_X), [math.nan] * 14, (500.0, 1e-4)) is None
    assert fit(rising(MISRA_X), MISRA_Y, (500.0, -50.0)) is None


@pytest.mark.parametrize("seed", range(12))
def test_coefficients_and_covariance_are_scipys(seed: int) -> None:
    """scipy.optimize.curve_fit on random falls towards a free asymptote."""
    draw = random.Random(seed)
    x = sorted(draw.uniform(0, 3) for _ in range(40))
    truth = (draw.uniform(18, 24), draw.uniform(6, 14), draw.uniform(0.5, 2.5))
    y = [truth[0] + truth[1] * math.exp(-v / truth[2]) + draw.gauss(0, 0.05) for v in x]

    def falling(b: Sequence[float]) -> Iterator[tuple[float, Sequence[float]]]:
        for one in x:
            left = math.exp(-one / b[2])
            yield b[0] + b[1] * left, (1.0, left, b[1] * left * one / b[2] ** 2)

    start = (20.0, 10.0, 1.0)
    ours = fit(falling, y, start)
    theirs, covariance = curve_fit(
        lambda v, a, u, tau: a + u * np.exp(-v / tau), np.array(x), y, p0=start, ftol=1e-14,
        xtol=1e-14, gtol=1e-14,
    )  # fmt: skip
    assert isinstance(ours, Fit)
    assert ours.parameters == pytest.approx(theirs, rel=1e-5)
    assert np.array(ours.covariance) == pytest.approx(covariance, rel=1e-4)
    given = fit(falling, y, start, sigma=0.05)
    _, absolute = curve_fit(
        lambda v, a, u, tau: a + u * np.exp(-v / tau), np.array(x), y, p0=start,
        sigma=np.full(40, 0.05), absolute_sigma=True,
    )  # fmt: skip
    assert given is not None
    assert np.array(given.covariance) == pytest.approx(absolute, rel=1e-4)
    gradient = (1.0, 0.5, -2.0)
    whole = math.sqrt(np.array(gradient) @ covariance @ np.array(gradient))
    assert ours.se_along(gradient) == pytest.approx(whole, rel=1e-3)


@pytest.mark.parametrize("freedom", [5, 8, 20, 200])
@pytest.mark.parametrize("share", [0.9, 0.95, 0.99])
def test_students_t_is_scipys(freedom: int, share: float) -> None:
    z = float(norm.ppf(0.5 + share / 2))
    assert student_t(z, freedom) == pytest.approx(t.ppf(0.5 + share / 2, freedom), rel=0.01)
