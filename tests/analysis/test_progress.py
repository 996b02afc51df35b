"""Progress along a line, against numerical integration (scipy.integrate.quad)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from analysis.digestion import model_days
from analysis.exposure import NOTHING, Line, line_of
from analysis.progress import progress, swing_factor
from config.care import load_care_profile
from tests.analysis.lines import GAP_MS, HOUR, T0, lines

MODEL = load_care_profile("boa-constrictor").digestion
END = T0 + 400 * HOUR


def integral(line: Line, meal_pct: float, factor: float, until_ms: float = END) -> float:
    """∫ dt / D, each piece by quad, split at the clamp so that quad sees a smooth function."""
    total = 0.0
    for start, end, a, b in zip(*(part.tolist() for part in line.parts), strict=True):
        stop = min(end, until_ms)
        if stop <= start:
            continue

        def rate(at: float, s: float = start, e: float = end, x: float = a, y: float = b) -> float:
            at_c = x + (y - x) * (at - s) / (e - s)
            return 1 / (model_days(meal_pct, at_c, MODEL) * 24 * HOUR * factor)

        crossing = start + (end - start) * (32.0 - a) / (b - a) if a != b else start
        points = [crossing] if start < crossing < stop else None
        total += quad(rate, start, stop, points=points, epsabs=1e-12, epsrel=1e-12)[0]
    return total


def steady(hours: float, at_c: float) -> Line:
    count = round(hours * 4) + 1
    return line_of([T0 + i * HOUR // 4 for i in range(count)], [at_c] * count, GAP_MS)


@given(lines(), st.sampled_from([5.0, 25.0]), st.sampled_from([1.0, 1.25]))
@settings(max_examples=60)
def test_closed_form_against_quad(line: Line, meal_pct: float, factor: float) -> None:
    mine = progress(line, meal_pct, MODEL, factor=factor).share
    assert mine == pytest.approx(integral(line, meal_pct, factor), abs=1e-10)


@pytest.mark.parametrize("at_c", [20.0, 25.0, 28.0, 30.0, 32.0, 38.0])
def test_at_a_steady_temperature_it_is_through_after_the_models_days(at_c: float) -> None:
    days = model_days(10.0, at_c, MODEL)
    done = progress(steady(24 * 14, at_c), 10.0, MODEL)
    assert done.through_at_ms is not None
    assert (done.through_at_ms - T0) / (24 * HOUR) == pytest.approx(days, abs=1e-9)
    assert done.share == pytest.approx(14 / days, abs=1e-9)


def test_through_inside_a_slope_across_the_clamp_against_brentq() -> None:
    """One long piece from 24 to 36 °C: the moment by root finding on the numerical integral."""
    line = line_of([T0, T0 + 200 * HOUR], [24.0, 36.0], 300 * HOUR)
    done = progress(line, 10.0, MODEL)
    root = brentq(lambda at: integral(line, 10.0, 1.0, at) - 1, T0, T0 + 200 * HOUR, xtol=1e-3)
    assert done.through_at_ms == pytest.approx(root, abs=1.0)


@given(lines())
def test_cut_in_two_progress_adds_up(line: Line) -> None:
    middle = T0 + 7 * HOUR
    parts = (line.cut(T0 - HOUR, middle), line.cut(middle, END))
    assert sum(progress(part, 5.0, MODEL).share for part in parts) == pytest.approx(
        progress(line, 5.0, MODEL).share, abs=1e-12
    )


def test_gaps_count_nothing_and_what_is_short_of_done_is_not_through() -> None:
    whole, holed = steady(96, 30.0), steady(96, 30.0)
    holed = line_of(
        [t for t in [*whole.start_ms, whole.end_ms[-1]] if not T0 + HOUR < t < T0 + 90 * HOUR],
        [30.0] * (len(whole) + 1 - 355),
        GAP_MS,
    )
    assert progress(holed, 10.0, MODEL).share < progress(whole, 10.0, MODEL).share
    assert progress(holed, 10.0, MODEL).through_at_ms is None
    assert progress(NOTHING, 10.0, MODEL) == progress(steady(0, 30.0), 10.0, MODEL)


# ---- the daily swing ------------------------------------------------------------------------


def swinging(low_c: float, high_c: float, days: int, known_hours: int = 24) -> Line:
    at, values = [], []
    for quarter in range(days * 96):
        if quarter % 96 <= known_hours * 4:
            at.append(T0 + quarter * HOUR // 4)
            values.append(low_c if quarter % 96 < 20 else high_c)
    return line_of(at, values, GAP_MS)


@pytest.mark.parametrize(
    ("low_c", "known_hours", "factor"),
    [(22.0, 24, 1.25), (22.1, 24, 1.0), (20.0, 12, 1.25), (20.0, 11, 1.0)],
)
def test_a_swing_of_8_degrees_lengthens_by_a_quarter(
    low_c: float, known_hours: int, factor: float
) -> None:
    """Andrade & Gavira 2013, Amphibia-Reptilia 34:483; size and trigger are our own choice."""
    line = swinging(low_c, 30.0, 3, known_hours)
    assert swing_factor(line, T0, T0 + 72 * HOUR, MODEL) == factor


def test_the_swing_is_the_mean_of_its_days() -> None:
    """One day of 20 °C and two of none are 6.7 a day on average: under 8."""
    at = [T0 + quarter * HOUR // 4 for quarter in range(72 * 4 + 1)]
    values = [10.0 if 4 <= i < 40 else 30.0 for i in range(len(at))]
    line = line_of(at, values, GAP_MS)
    assert swing_factor(line, T0, T0 + 72 * HOUR, MODEL) == 1.0
    assert swing_factor(line, T0, T0 + 48 * HOUR, MODEL) == 1.25
