"""Steadiness and uncertainty of a calibration, against values worked out by hand and by trial."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from analysis.calibrating import (
    ICE_UNCERTAINTY_C,
    WINDOW_MS,
    Point,
    Steadiness,
    point,
    steadiness,
    uncertainty_at,
)
from collector.book.records import Calibrated
from collector.calibration import from_record

NOW = 1_900_000_000_000


def stepped(value_c: float) -> float:
    return round(value_c * 16) / 16


def readings(mean_c: float, noise_c: float, drift_c: float = 0.0) -> list[tuple[int, float]]:
    """Four minutes of a reading every 5 s, in steps of 1/16 °C; `drift_c` over the window."""
    draw = random.Random(5)
    return [
        (NOW - past, stepped(mean_c - drift_c * past / WINDOW_MS + draw.gauss(0, noise_c)))
        for past in range(240_000, 0, -5_000)
    ]  # fmt: skip


def test_a_steady_probe_is_steady() -> None:
    found = steadiness(readings(0.31, 0.04), NOW)
    assert found is not None
    assert found.why_not is None
    assert found.mean_c == pytest.approx(0.31, abs=0.03)
    assert (found.readings, found.step_c) == (36, 0.0625)


@pytest.mark.parametrize(
    ("series", "why"),
    [
        (readings(0.3, 0.03, drift_c=-0.5), "still drifts"),
        (readings(0.3, 0.25), "scatter"),
        (readings(0.3, 0.03)[-6:], "6 readings over 25 s"),
        (readings(0.3, 0.03)[:-8], "not been heard for 45 s"),
        (readings(0.3, 0.03)[::12], "only every 60 s"),
    ],
)
def test_what_is_not_steady_says_why(series: list[tuple[int, float]], why: str) -> None:
    found = steadiness(series, NOW)
    assert found is not None
    assert found.why_not is not None
    assert why in found.why_not


def test_too_few_readings_say_nothing() -> None:
    assert steadiness(readings(0.3, 0.03)[-2:], NOW) is None
    assert steadiness(readings(0.3, 0.03), NOW + 10**7) is None


def test_the_budget_by_hand() -> None:
    """s 0.04 of 16: 0.01; step 1/16: 0.018042; drift 0.03: 0.008660; ice ±0.05: 0.028868.
    Root of the sum of squares 0.036522 (by hand), k = 2."""
    steady = Steadiness(0.25, 0.03, 0.04, 16, 0.0625, None)
    found = point(steady, 0.0, ICE_UNCERTAINTY_C)
    assert found.uncertainty_c == pytest.approx(2 * 0.036522, abs=2e-5)


def test_between_two_points_as_drawn_by_lot() -> None:
    """The spread of lines through points drawn by their uncertainties (JCGM 101: Monte Carlo)."""
    first, second = Point(0.2, 0.0, 0.08), Point(37.4, 37.0, 0.2)
    draw = random.Random(7)
    for read_c in (0.2, 25.0, 31.0, 37.4, 45.0):
        spread = []
        for _ in range(4_000):
            low = draw.gauss(first.true_c, first.uncertainty_c / 2)
            high = draw.gauss(second.true_c, second.uncertainty_c / 2)
            line = from_record(Calibrated("p", 1, 0.2, low, 0.1, 37.4, high, 0.1))
            spread.append(line.apply(read_c))
        told = uncertainty_at(read_c, first, second)
        assert told == pytest.approx(2 * statistics.stdev(spread), rel=0.06)
    assert uncertainty_at(31.0, first, None) == first.uncertainty_c


def test_the_line_goes_through_its_points() -> None:
    line = from_record(Calibrated("p", 1, 0.2, 0.0, 0.1, 37.4, 37.0, 0.1))
    assert line.apply(0.2) == pytest.approx(0.0, abs=1e-12)
    assert line.apply(37.4) == pytest.approx(37.0)
    assert math.isclose(from_record(Calibrated("p", 1, 0.25, 0.0, 0.1)).offset, -0.25)
