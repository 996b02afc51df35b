"""The numbers of the temperature plot: breaks, ranges, round degrees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import NOTHING, Line
from analysis.figures.climate import (
    Climate,
    Scale,
    Track,
    beyond,
    clock_step,
    gaps,
    is_short,
    limits_reached,
    range_c,
    temperature_ticks,
    track,
)
from config.settings import Settings
from tests.analysis.lines import HOUR, T0, lines

END = T0 + 48 * HOUR
FAHRENHEIT = Settings.model_validate({"show": {"temperature": "degF"}})


def climate(line: Line | None = None) -> Climate:
    return Climate(T0, END, line, lower_limits_c=(25.0, 22.0))


def found(line: Line) -> Track:
    one = track("warm side", line, climate(), 10_000)
    assert one is not None
    return one


@given(lines())
def test_gaps_are_the_lines_gaps(line: Line) -> None:
    starts, ends = line.cut(T0, END).gaps(T0, END)
    spans = gaps(found(line), climate())
    assert spans == list(zip(starts.tolist(), ends.tolist(), strict=True))


@given(lines())
def test_what_is_beyond_is_never_within(line: Line) -> None:
    for part in beyond(found(line), climate()):
        assert all(c <= 28.0 for _, c in part.points) or all(c >= 36.0 for _, c in part.points)


@given(lines())
def test_a_broken_line_has_a_break_for_every_gap_within(line: Line) -> None:
    one = found(line)
    x, y = Scale(T0, Settings()).broken_line(one.paths)
    assert np.isnan(y).sum() == max(0, len(one.paths) - 1)
    assert np.array_equal(np.isnan(x), np.isnan(y))


def test_no_probe_is_no_track_and_no_readings_an_empty_one() -> None:
    assert track("warm side", None, climate(), 100) is None
    empty = found(NOTHING)
    assert (empty.last_c, empty.extent_c) == (None, None)
    assert gaps(empty, climate()) == [(T0, END)]
    assert limits_reached(empty, climate()) == []
    assert limits_reached(None, climate()) == []


@given(lines())
def test_the_range_holds_every_line_and_both_limits(line: Line) -> None:
    low, high = range_c([found(line)], climate())
    known = line.cut(T0, END)
    assert low < min(28.0, known.low_c.min(initial=28.0))
    assert high > max(36.0, known.high_c.max(initial=36.0))


@given(st.floats(-40, 120), st.floats(0.5, 150))
def test_degrees_are_round_few_and_within(low: float, span: float) -> None:
    ticks = temperature_ticks(low, low + span)
    assert len(ticks) <= 7
    assert all(low - 1e-9 <= tick <= low + span + 1e-9 for tick in ticks)
    assert all(tick == int(tick) for tick in ticks)
    if span >= 4:
        assert len(ticks) >= 2


def test_fahrenheit_on_both_ways_to_the_axes() -> None:
    scale = Scale(T0, FAHRENHEIT)
    line = Line(*(np.array([v], dtype=np.float64) for v in (T0, T0 + HOUR, 28.0, 36.0)))
    _, y = scale.broken_line(found(line).paths)
    assert y.tolist() == pytest.approx([scale.y(28.0), scale.y(36.0)])
    assert y.tolist() == pytest.approx([82.4, 96.8])
    assert scale.x(T0 + 90 * 60_000) == 1.5


@pytest.mark.parametrize(
    ("hours", "most", "step"), [(12, 4, 3), (12, 12, 1), (36, 4, 12), (90, 4, 24)]
)
def test_the_clock_is_written_as_often_as_there_is_room(hours: int, most: int, step: int) -> None:
    assert clock_step(hours * HOUR, most) == step


def test_a_day_and_a_half_is_short() -> None:
    assert is_short(Climate(T0, T0 + 36 * HOUR, None))
    assert not is_short(Climate(T0, T0 + 37 * HOUR, None))
