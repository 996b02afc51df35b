"""The line, against figures worked by hand, a closed form, scipy, and exact fractions."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PPoly, make_interp_spline

from analysis.exposure import NOTHING, Line, difference, line_of, mean_of
from analysis.summary import median, summary
from tests.analysis import exact
from tests.analysis.lines import (
    GAP_MS,
    HOUR,
    LEVELS,
    MINUTE,
    T0,
    as_fractions,
    lines,
    readings,
)

END = T0 + 400 * HOUR
START = T0 - HOUR


def line_in_hours(hours: list[float], values: list[float], gap_h: float = 9.0) -> Line:
    return line_of([round(T0 + h * HOUR) for h in hours], values, gap_h * HOUR)


# ---- worked by hand -------------------------------------------------------------------------

HAND = line_in_hours([0, 1, 3, 4, 7, 8], [30, 27, 27, 29, 26, 30])


def test_by_hand_crossings_hours_and_area() -> None:
    """By hand: crossings 2/3, 3.5, 5, 7.5 h; 16/3 h below 28; 59/12 K·h; longest 17/6 h."""
    starts, ends = HAND.spells_below(28.0)
    assert ((starts - T0) / HOUR).tolist() == pytest.approx([2 / 3, 5.0], abs=1e-9)
    assert ((ends - T0) / HOUR).tolist() == pytest.approx([3.5, 7.5], abs=1e-9)
    assert HAND.hours_below(28.0) == pytest.approx(16 / 3, abs=1e-9)
    assert HAND.degree_hours_below(28.0) == pytest.approx(59 / 12, abs=1e-9)
    longest = HAND.longest_spell_below(28.0)
    assert longest is not None
    assert longest.hours == pytest.approx(17 / 6, abs=1e-9)


def test_by_hand_mean_is_weighed_by_time() -> None:
    """By hand: 27.625; the plain mean of the readings, 28.167, is wrong."""
    assert summary(HAND).mean == pytest.approx(27.625, abs=1e-12)


def test_a_median_between_two_levels_is_not_moved_by_rounding() -> None:
    """Sums of shares of pieces come out a little less than half; half they are."""
    lower = [(0, 1000, 7.0, 2.0), (1000, 1060, 0.0625, 11.0), (1060, 1893, 0.5625, 0.5625)]
    upper = [(1893, 3000, 50.0625, 57.0), (3000, 3786, 50.0625, 50.0625)]
    line = Line(*np.array(lower + upper, np.float64).T)
    assert median(line) == (11.0 + 50.0625) / 2


def test_a_touch_ends_a_spell_and_is_not_below() -> None:
    line = line_in_hours([0, 1, 2], [27, 28, 27])
    starts, _ = line.spells_below(28.0)
    assert len(starts) == 2
    assert line.hours_below(28.0) == pytest.approx(2.0)
    assert line_in_hours([0, 1, 2], [28, 28, 28]).hours_below(28.0) == 0.0
    assert line_in_hours([0, 1, 2], [29, 28, 29]).longest_spell_below(28.0) is None


@pytest.mark.parametrize(
    ("before", "after", "spells"),
    [(27.0, 26.0, 1), (27.0, 28.0, 2), (28.0, 27.0, 2), (27.0, 30.0, 2)],
)
def test_a_spell_runs_across_a_step_that_is_below_on_both_sides(
    before: float, after: float, spells: int
) -> None:
    at = [T0 + h * HOUR for h in (0, 1, 2)]
    line = Line(
        *(np.array(part, dtype=float) for part in (at[:2], at[1:], [26.0, after], [before, 26.0]))
    )
    assert len(line.spells_below(28.0)[0]) == spells


def test_a_gap_ends_a_known_spell_and_joins_a_cold_one() -> None:
    line = line_in_hours([0, 2, 12, 15], [27, 27, 27, 27])
    assert [s.hours for s in [line.longest_spell_below(28.0)] if s] == [3.0]
    cold = line.gaps_cold(T0 - HOUR, T0 + 16 * HOUR)
    assert [s.hours for s in [cold.longest_spell_below(28.0)] if s] == [17.0]
    assert cold.hours_below(28.0) == 17.0


def test_readings_as_far_apart_as_the_gap_are_joined_and_no_further() -> None:
    assert len(line_of([0, GAP_MS], [27, 27], GAP_MS)) == 1
    assert len(line_of([0, GAP_MS + 1], [27, 27], GAP_MS)) == 0


def test_a_lone_reading_lasts_no_time() -> None:
    assert len(line_of([T0], [27.0], GAP_MS)) == 0
    assert len(line_of([], [], GAP_MS)) == 0
    assert summary(NOTHING).median is None
    assert NOTHING.value_at(T0) is None


def test_value_at_is_on_the_line_and_unknown_in_gaps() -> None:
    line = line_in_hours([0, 1, 20, 21], [30, 27, 27, 29])
    assert line.value_at(T0 + HOUR / 2) == pytest.approx(28.5)
    assert line.value_at(T0) == 30.0
    assert line.value_at(T0 + 10 * HOUR) is None
    assert line.value_at(T0 + 22 * HOUR) is None


def test_a_cut_does_not_round_a_steady_line_below_its_own_value() -> None:
    """28.1 all along is never below 28.1, wherever it is cut."""
    line = line_in_hours([0, 0.2, 0.4], [28.1, 28.1, 28.1])
    for offset in range(1, 700_000, 9_973):
        assert line.cut(T0 + offset, T0 + 720_000 + offset).hours_below(28.1) == 0.0


def test_two_probes_by_hand() -> None:
    """30 from 0 to 4 h, 26 from 1 to 2 h: 28 then, and steps at 1 and 2 h."""
    both = mean_of([line_in_hours([0, 4], [30, 30]), line_in_hours([1, 2], [26, 26])])
    assert ((both.start_ms - T0) / HOUR).tolist() == [0, 1, 2]
    assert both.start_c.tolist() == [30, 28, 30]
    assert both.hours_below(29.0) == 1.0
    apart = difference(line_in_hours([0, 4], [30, 30]), line_in_hours([1, 2], [26, 26]))
    assert apart.known_hours == 1.0
    assert apart.low_c.tolist() == [4.0]


# ---- a closed form --------------------------------------------------------------------------


@pytest.mark.parametrize("step_h", [1.0, 0.25, 1 / 12])
def test_sinusoid_within_the_error_of_straight_lines(step_h: float) -> None:
    """Mean 30, amplitude 3, 24 h, level 28: 4.231718 K·h and 6.425291 h (closed form).

    Sampled every h hours the area is off by at most (h²/12)·A(2π/P)²·(time below).
    """
    mean, amplitude, period, level = 30.0, 3.0, 24.0, 28.0
    u = (level - mean) / amplitude
    phi = math.asin(u)
    area = period * amplitude / math.pi * (u * (math.pi / 2 + phi) + math.cos(phi))
    spell = period * (0.5 + phi / math.pi)
    assert (area, spell) == pytest.approx((4.231718, 6.425291), abs=5e-7)
    hours = np.arange(0.0, 24.0 + step_h / 2, step_h)
    line = line_of(
        np.round(T0 + hours * HOUR),
        mean + amplitude * np.sin(2 * math.pi * hours / period),
        2 * HOUR,
    )
    curvature = amplitude * (2 * math.pi / period) ** 2
    bound = step_h**2 / 12 * curvature * spell
    assert abs(line.degree_hours_below(level) - area) <= bound + 1e-6
    longest = line.longest_spell_below(level)
    assert longest is not None
    # Chords lie inside the curve by curvature·h²/8 at most; both crossings move by that / slope.
    slope = amplitude * 2 * math.pi / period * math.cos(phi)
    assert abs(longest.hours - spell) <= 2 * curvature * step_h**2 / 8 / (0.9 * slope)


# ---- scipy's piecewise polynomials ----------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_against_scipy(seed: int) -> None:
    """scipy PPoly on a k=1 interpolating spline, its own roots and integrals, to 1e-6 h."""
    rng = np.random.default_rng(seed)
    hours = np.cumsum(rng.uniform(0.01, 0.2, 400))
    at_ms = np.round(T0 + hours * HOUR)
    hours = (at_ms - T0) / HOUR
    values = 28 + np.cumsum(rng.normal(0, 0.3, 400))
    line = line_of(at_ms, values, GAP_MS)
    curve = PPoly.from_spline(make_interp_spline(hours, values, k=1))
    for level in (26.0, 28.0, 29.3):
        roots = curve.solve(level, extrapolate=False)
        edges = np.unique(np.concatenate(([hours[0]], roots, [hours[-1]])))
        below = [(a, b) for a, b in pairwise(edges) if curve((a + b) / 2) < level]
        time = sum(b - a for a, b in below)
        area = sum(level * (b - a) - float(curve.integrate(a, b)) for a, b in below)
        longest = line.longest_spell_below(level)
        assert line.hours_below(level) == pytest.approx(time, abs=1e-6)
        assert line.degree_hours_below(level) == pytest.approx(area, abs=1e-6)
        assert (longest.hours if longest else 0.0) == pytest.approx(
            max((b - a for a, b in below), default=0.0), abs=1e-6
        )
    mean = float(curve.integrate(hours[0], hours[-1])) / (hours[-1] - hours[0])
    assert summary(line).mean == pytest.approx(mean, abs=1e-9)


# ---- exact fractions ------------------------------------------------------------------------


@given(lines(), LEVELS)
def test_against_exact_fractions(line: Line, level: float) -> None:
    pieces, at = as_fractions(line), Fraction(level)
    gaps = exact.gaps(pieces, Fraction(-1), Fraction(400))
    cold = line.gaps_cold(START, END)
    assert line.hours_below(level) == pytest.approx(float(exact.hours_below(pieces, at)), abs=1e-9)
    assert line.degree_hours_below(level) == pytest.approx(
        float(exact.degree_hours(pieces, at)), abs=1e-9
    )
    for mine, theirs in (
        (line, exact.spells_below(pieces, at)),
        (cold, exact.spells_below(pieces, at, gaps)),
    ):
        starts, ends = mine.spells_below(level)
        assert len(starts) == len(theirs)
        for start, end, (a, b) in zip(starts, ends, theirs, strict=True):
            assert (start - T0) / HOUR == pytest.approx(float(a), abs=1e-9)
            assert (end - T0) / HOUR == pytest.approx(float(b), abs=1e-9)
    unknown = float(Fraction(401) - exact.known(pieces))
    assert cold.hours_below(level) == pytest.approx(line.hours_below(level) + unknown, abs=1e-9)


@given(st.tuples(readings(), readings(), readings()))
def test_mean_of_three_against_exact_fractions(
    three: tuple[tuple[list[int], list[float]], ...],
) -> None:
    probes = [line_of(at_ms, values, GAP_MS) for at_ms, values in three]
    mine = as_fractions(mean_of(probes))
    theirs = exact.mean_line([as_fractions(line) for line in probes])
    assert exact.known(mine) == exact.known(theirs)
    for (s, e, a, b), (s2, e2, a2, b2) in zip(mine, theirs, strict=True):
        assert (s, e) == (s2, e2)
        assert (float(a), float(b)) == pytest.approx((float(a2), float(b2)), abs=1e-12)


@given(lines())
def test_summary_against_exact_fractions(line: Line) -> None:
    pieces = as_fractions(line)
    of = summary(line)
    if not pieces:
        assert (of.low, of.mean, of.median, of.high) == (None, None, None, None)
        return
    assert of.low == float(min(v for piece in pieces for v in piece[2:]))
    assert of.high == float(max(v for piece in pieces for v in piece[2:]))
    assert of.mean == pytest.approx(float(exact.mean(pieces)), abs=1e-9)
    least, greatest = exact.median_span(pieces)
    assert of.median == pytest.approx(float((least + greatest) / 2), abs=1e-9)


# ---- laws -----------------------------------------------------------------------------------


@given(lines(), LEVELS, st.integers(-60, 60 * 24), st.integers(-60, 60 * 24))
def test_cut_in_two_the_figures_add_up(line: Line, level: float, first: int, second: int) -> None:
    a, b = sorted((T0 + first * MINUTE, T0 + second * MINUTE))
    parts = [line.cut(START, a), line.cut(a, b), line.cut(b, END)]
    for figure in (Line.hours_below, Line.degree_hours_below):
        assert sum(figure(part, level) for part in parts) == pytest.approx(
            figure(line, level), abs=1e-9
        )
    assert sum(part.known_hours for part in parts) == pytest.approx(line.known_hours, abs=1e-9)


@given(lines(), LEVELS, st.floats(0, 5))
def test_a_higher_level_never_has_less_below_it(line: Line, level: float, more: float) -> None:
    higher = level + more
    assert line.hours_below(higher) >= line.hours_below(level) - 1e-9
    assert line.degree_hours_below(higher) >= line.degree_hours_below(level) - 1e-9
    low, high = line.longest_spell_below(level), line.longest_spell_below(higher)
    assert (high.hours if high else 0.0) >= (low.hours if low else 0.0) - 1e-9


@given(lines(), LEVELS, st.integers(0, 39))
def test_splitting_a_piece_changes_nothing(line: Line, level: float, which: int) -> None:
    if not len(line):
        return
    i = which % len(line)
    middle = (line.start_ms[i] + line.end_ms[i]) / 2
    value = (line.start_c[i] + line.end_c[i]) / 2
    split = Line(
        np.insert(line.start_ms, i + 1, middle),
        np.insert(line.end_ms, i, middle),
        np.insert(line.start_c, i + 1, value),
        np.insert(line.end_c, i, value),
    )
    assert split.hours_below(level) == pytest.approx(line.hours_below(level), abs=1e-9)
    assert split.degree_hours_below(level) == pytest.approx(
        line.degree_hours_below(level), abs=1e-9
    )
    ends = [(spell - T0) / HOUR for spell in line.spells_below(level)]
    for mine, theirs in zip(split.spells_below(level), ends, strict=True):
        assert ((mine - T0) / HOUR).tolist() == pytest.approx(theirs.tolist(), abs=1e-9)
    assert median(split) == pytest.approx(median(line), abs=1e-9)


@given(lines(), LEVELS, st.integers(-(10**12), 10**12))
def test_later_by_any_time_the_figures_are_the_same(line: Line, level: float, by: int) -> None:
    moved = Line(line.start_ms + by, line.end_ms + by, line.start_c, line.end_c)
    assert moved.hours_below(level) == line.hours_below(level)
    assert moved.degree_hours_below(level) == line.degree_hours_below(level)
    assert summary(moved) == summary(line)


@given(lines(), LEVELS)
def test_below_above_and_at_are_all_of_the_known_time(line: Line, level: float) -> None:
    at = line.length_ms[(line.start_c == level) & (line.end_c == level)].sum() / HOUR
    both = line.hours_below(level) + line.upside_down().hours_below(-level)
    assert both + at == pytest.approx(line.known_hours, abs=1e-9)


@given(lines(), LEVELS, st.integers(0, 60 * 24), st.integers(1, 60 * 12))
def test_with_less_known_less_is_proved_and_more_is_possible(
    line: Line, level: float, first: int, minutes: int
) -> None:
    """Taking a stretch of the line away."""
    since = T0 + first * MINUTE
    rest = [line.cut(START, since), line.cut(since + minutes * MINUTE, END)]
    fewer = mean_of(rest)
    for less, more in ((fewer, line), (line.gaps_cold(START, END), fewer.gaps_cold(START, END))):
        assert less.hours_below(level) <= more.hours_below(level) + 1e-9
        a, b = less.longest_spell_below(level), more.longest_spell_below(level)
        assert (a.hours if a else 0.0) <= (b.hours if b else 0.0) + 1e-9


@given(lines(), lines())
def test_the_mean_of_a_line_with_itself_is_the_line(line: Line, other: Line) -> None:
    twice = mean_of([line, line])
    assert all(np.array_equal(a, b) for a, b in zip(twice.parts, line.parts, strict=True))
    one, two = mean_of([line, other]), mean_of([other, line])
    assert all(np.allclose(a, b, atol=1e-12) for a, b in zip(one.parts, two.parts, strict=True))
