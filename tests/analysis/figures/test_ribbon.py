"""The ribbon's shape: what it shows is what the line says, no more and no less."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import Line, line_of
from analysis.figures.bands import stretches
from analysis.figures.reduce import paths_of
from analysis.figures.ribbon import Event, RibbonShape, Strip, ribbon_shape
from analysis.figures.scale import DEGREES, EDGE_PER_DEGREE, edge_of, step_of
from tests.analysis.lines import GAP_MS, HOUR, MINUTE, T0, lines

DAY = 24 * HOUR
FLOOR, HOT = 28.0, 36.0
END = T0 + 2 * DAY


def shape_of(line: Line | None, end_ms: int = END) -> RibbonShape:
    return ribbon_shape(line, T0, end_ms, floor_c=FLOOR, hot_c=HOT)


def width(strip: Strip) -> float:
    return strip.points[-1][0] - strip.points[0][0]


def area(strip: Strip) -> float:
    """Shoelace formula."""
    points = [*strip.points, strip.points[0]]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(points))) / 2


def wide(line: Line) -> Line:
    """The same line from 4 to 58 °C, so that it goes beyond both ends of the scale."""
    return Line(line.start_ms, line.end_ms, *(3 * part - 56 for part in line.parts[2:]))


any_line = st.one_of(lines(), lines().map(wide))


@given(any_line)
def test_strips_and_gaps_fill_the_time_and_never_overlap(line: Line) -> None:
    shape = shape_of(line)
    spans = sorted([(s.points[0][0], s.points[-1][0]) for s in shape.strips] + list(shape.missing))
    assert spans[0][0] == 0.0
    assert spans[-1][1] == pytest.approx(2.0)
    for (_, before), (after, _) in pairwise(spans):
        assert before == pytest.approx(after, abs=1e-9)


@given(any_line)
def test_time_below_and_above_is_the_lines(line: Line) -> None:
    shape, known = shape_of(line), line.cut(T0, END)
    cold = sum(width(s) for s in shape.strips if s.step < 0)
    hot = sum(width(s) for s in shape.strips if s.step > 0)
    assert cold * 24 == pytest.approx(known.hours_below(FLOOR), abs=1e-6)
    assert hot * 24 == pytest.approx(known.upside_down().hours_below(-HOT), abs=1e-6)
    assert sum(b - a for a, b in shape.missing) * 24 == pytest.approx(
        48 - known.known_hours, abs=1e-6
    )


@given(lines())
def test_the_area_that_is_missing_is_the_degree_hours(line: Line) -> None:
    # Values of 20 to 38 °C: within the ten degrees that the edge follows.
    shape, known = shape_of(line), line.cut(T0, END)
    sunk = sum(width(s) - area(s) for s in shape.strips if s.step < 0)
    risen = sum(area(s) - width(s) for s in shape.strips if s.step > 0)
    per_degree_hour = EDGE_PER_DEGREE / 24
    assert sunk == pytest.approx(known.degree_hours_below(FLOOR) * per_degree_hour, abs=1e-6)
    above = known.upside_down().degree_hours_below(-HOT)
    assert risen == pytest.approx(above * per_degree_hour, abs=1e-6)


@given(any_line)
def test_colour_and_edge_tell_the_same(line: Line) -> None:
    for strip in shape_of(line).strips:
        heights = [y for _, y in strip.points[1:-1]]
        assert strip.points[0][1] == strip.points[-1][1] == 0.0
        nearer = (abs(strip.step) - 1) * EDGE_PER_DEGREE if strip.step else 0.0
        further = min(abs(strip.step), DEGREES) * EDGE_PER_DEGREE
        side = np.sign(strip.step)
        for height in heights:
            assert nearer - 1e-9 <= (height - 1) * side <= further + 1e-9 or strip.step == 0
            assert height >= 1 - DEGREES * EDGE_PER_DEGREE - 1e-9 > 0.1  # never gone
        if strip.step == 0:
            assert heights == [1.0, 1.0]


@given(any_line)
def test_the_stretches_of_a_path_are_the_path(line: Line) -> None:
    for path in paths_of(line):
        parts = stretches(path, FLOOR, HOT)
        assert parts[0].points[0][0] == path.at_ms[0]
        assert parts[-1].points[-1] == (path.at_ms[-1], path.value[-1])
        for before, after in pairwise(parts):
            assert before.points[-1][0] == after.points[0][0]
        corners = {point for part in parts for point in part.points}
        assert set(zip(path.at_ms.tolist(), path.value.tolist(), strict=True)) - corners <= set(
            _within_a_step(path.at_ms.tolist(), path.value.tolist())
        )


def _within_a_step(at_ms: list[float], value: list[float]) -> list[tuple[float, float]]:
    """Corners that a line passes in no time: they have no width to be drawn in."""
    points = list(zip(at_ms, value, strict=True))
    return [b for a, b in pairwise(points) if a[0] == b[0]] + [
        a for a, b in pairwise(points) if a[0] == b[0]
    ]


@given(any_line)
def test_reduced_it_is_as_cold_and_as_hot(line: Line) -> None:
    whole = shape_of(line)
    fewer = ribbon_shape(line, T0, END, floor_c=FLOOR, hot_c=HOT, columns_per_day=30)
    heights = [[y for s in shape.strips for _, y in s.points] for shape in (whole, fewer)]
    assert [min(h, default=0) for h in heights[:1]] == [min(h, default=0) for h in heights[1:]]
    assert whole.top == fewer.top
    assert whole.missing == fewer.missing


def test_by_hand() -> None:
    # 30 → 26 °C within four hours, there for two, back within four: 28 at 2 h and at 8 h.
    hours, values = [0, 4, 6, 10], [30.0, 26.0, 26.0, 30.0]
    line = line_of([T0 + h * HOUR for h in hours], values, 5 * HOUR)
    shape = shape_of(line, T0 + 12 * HOUR)
    assert [s.step for s in shape.strips] == [0, -1, -2, -1, 0]
    edges = [x * 24 for s in shape.strips for x in (s.points[0][0], s.points[-1][0])]
    assert edges == pytest.approx([0, 2, 2, 3, 3, 7, 7, 8, 8, 10])
    assert min(y for _, y in shape.strips[2].points[1:-1]) == pytest.approx(1 - 2 * 0.085)
    assert shape.missing == ((10 / 24, 0.5),)
    assert shape.length_d == 0.5


def test_no_probe_is_one_gap_and_no_time_is_nothing() -> None:
    assert shape_of(None).missing == ((0.0, 2.0),)
    assert shape_of(None).strips == ()
    assert shape_of(None, T0).missing == ()


def test_a_step_from_one_probe_to_another_is_a_step() -> None:
    at = np.array([0.0, 1, 2]) * HOUR + T0
    line = Line(at[:-1], at[1:], np.array([31.0, 26.5]), np.array([31.0, 26.5]))
    assert [s.step for s in shape_of(line).strips] == [0, -2]


def test_marks_stand_at_their_hour() -> None:
    events = (
        Event(T0 + 30 * HOUR, "handled"),
        Event(T0 - HOUR, "before the meal"),
        Event(T0 + 15 * DAY, "later than the scale"),
        Event(T0 + 3 * DAY, "passed", ends_it=True),
    )
    shape = ribbon_shape(None, T0, END, floor_c=FLOOR, hot_c=HOT, events=events)
    assert [(m.at_d, m.word, m.ends_it) for m in shape.marks] == [
        (1.25, "handled", False),
        (3.0, "passed", True),
    ]


def test_an_outcome_at_the_end_is_said_once() -> None:
    shape = ribbon_shape(
        None, T0, END, floor_c=FLOOR, hot_c=HOT,
        events=(Event(END, "regurgitated", ends_it=True),), ending="came back after 48 h",
    )  # fmt: skip
    assert [(m.at_d, m.word, m.ends_it) for m in shape.marks] == [(2.0, "", True)]


def test_what_is_expected_is_ahead_or_not_at_all() -> None:
    for days, expected in ((8.0, 8.0), (2.0, None), (1.0, None), (None, None)):
        shape = ribbon_shape(None, T0, END, floor_c=FLOOR, hot_c=HOT, expected_d=days)
        assert shape.expected_d == expected


# ---- the scale ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value_c", "step"),
    [(28.0, 0), (36.0, 0), (31.0, 0), (27.9999, -1), (27.0, -1), (26.9999, -2), (18.0, -10),
     (5.0, -10), (36.0001, 1), (37.0, 1), (37.01, 2), (60.0, 10)],
)  # fmt: skip
def test_steps_of_a_degree(value_c: float, step: int) -> None:
    assert step_of(value_c, FLOOR, HOT) == step


@given(st.floats(-10, 70), st.floats(-10, 70))
def test_colder_is_never_higher(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert edge_of(low, FLOOR, HOT) <= edge_of(high, FLOOR, HOT)
    assert step_of(low, FLOOR, HOT) <= step_of(high, FLOOR, HOT)


def test_a_day_of_readings_is_a_few_polygons() -> None:
    at_ms = T0 + 10_000 * np.arange(14 * 8640)
    value = 30 + 4 * np.sin(np.arange(len(at_ms)) / 8640 * 2 * np.pi)
    line = line_of(at_ms, value, 15 * MINUTE)
    shape = ribbon_shape(line, T0, T0 + 14 * DAY, floor_c=FLOOR, hot_c=HOT, columns_per_day=50)
    assert len(shape.strips) < 14 * 12
    assert sum(len(s.points) for s in shape.strips) < 14 * 50 * 5
    assert GAP_MS == 15 * MINUTE
