"""Looks at a falling warm side, and the minutes they are made from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch.foretell import foretell
from analysis.watch.histories import Minutes
from analysis.watch.looking import fall_began, look, look_times, room_at
from analysis.watch.states import HOUR_MS, MINUTE_MS

START_MS = 1_774_000_000_000 // HOUR_MS * HOUR_MS


def minutes_of(values: Sequence[float], every_s: int = 20) -> Minutes:
    """A history with these minutes, read every so often."""
    history = Minutes.since(START_MS)
    per_minute = 60 // every_s
    history.add(
        (START_MS + (i * 60 + j * every_s) * 1000, value)
        for i, value in enumerate(values)
        for j in range(per_minute)
    )
    history.add([(START_MS + len(values) * MINUTE_MS, values[-1])])  # closes the last minute
    return history


def failing(top_c: float, room_c: float, tau_h: float, minutes: int) -> list[float]:
    """What the law of cooling says, by the minute (Newton, from memory)."""
    return [room_c + (top_c - room_c) * math.exp(-m / 60 / tau_h) for m in range(minutes)]


def thermostat(minutes: int) -> list[float]:
    """Around 31 °C, up and down by 0.8 °C in half an hour."""
    return [31 + 0.8 * math.sin(2 * math.pi * m / 30) for m in range(minutes)]


@given(
    st.lists(st.tuples(st.integers(1, 40_000), st.floats(20, 40)), min_size=1, max_size=80),
    st.data(),
)
def test_minutes_do_not_depend_on_how_often_they_are_read(
    steps: list[tuple[int, float]], data: st.DataObject
) -> None:
    points, at_ms = [], START_MS
    for step, value in steps:
        at_ms += step
        points.append((at_ms, value))
    once, piecewise = Minutes.since(START_MS), Minutes.since(START_MS)
    once.add(points)
    begin = 0
    while begin < len(points):
        end = data.draw(st.integers(begin + 1, len(points)))
        piecewise.add(points[data.draw(st.integers(0, begin)) : end])  # some of it again
        begin = end
    assert piecewise == once
    for middle_ms, mean_c in zip(once.at_ms, once.mean_c, strict=True):
        own = [v for at, v in points if at // MINUTE_MS == middle_ms // MINUTE_MS]
        assert mean_c == pytest.approx(sum(own) / len(own))


def test_a_history_lets_go_of_what_is_old() -> None:
    history = minutes_of([30.0] * 200)
    history.forget_before(START_MS + 150 * MINUTE_MS)
    assert len(history.at_ms) == len(history.mean_c) == 50


def test_a_look_at_the_first_reading_of_every_two_minutes() -> None:
    points = [(START_MS + s * 1000, 30.0) for s in (50, 110, 119, 121, 200, 239, 500)]
    seconds = [(at - START_MS) // 1000 for at in look_times(points, START_MS)]
    assert seconds == [121, 500]


def test_a_thermostat_that_switches_is_no_fall() -> None:
    history = minutes_of(thermostat(600))
    for minute in range(400, 600):
        seen = look(history, None, START_MS + minute * MINUTE_MS, 28.0, foretell)
        assert seen is not None
        assert (seen.began_ms, seen.floor_ms) == (None, None)


def test_a_failing_heater_is_a_fall_and_its_time_is_foretold_within_a_tenth() -> None:
    fall = failing(31.0, 22.0, 2.5, 60)
    history = minutes_of([*thermostat(600), *fall])
    room = minutes_of([22.0] * 660)
    at_ms = START_MS + 635 * MINUTE_MS
    seen = look(history, room, at_ms, 28.0, foretell)
    assert seen is not None
    assert seen.began_ms is not None
    assert 600 * MINUTE_MS <= seen.began_ms - START_MS <= 615 * MINUTE_MS
    # t* = τ ln((T0 − Ta)/(B − Ta)) = 1.013663 h from its beginning
    due_ms = START_MS + 600 * MINUTE_MS + 1.013663 * HOUR_MS
    assert seen.floor_ms is not None
    assert seen.floor_ms == pytest.approx(due_ms, abs=0.1 * (due_ms - at_ms))


def test_a_night_that_is_like_every_night_is_no_fall() -> None:
    day = [31.0] * 720 + failing(31.0, 29.0, 1.0, 720)
    history = minutes_of([*day, *day])
    looks = [
        look(history, None, START_MS + m * MINUTE_MS, 28.0, foretell) for m in range(2160, 2400, 2)
    ]
    assert all(one is not None and one.began_ms is None for one in looks)


def test_one_that_has_settled_lower_falls_no_more() -> None:
    values = [31.0] * 60 + failing(31.0, 29.0, 0.5, 240)
    times = [START_MS + m * MINUTE_MS for m in range(len(values))]
    assert fall_began(times[:90], values[:90], 30.9) is not None
    assert fall_began(times, values, 30.9) is None


def test_a_heater_that_works_again_ends_the_fall() -> None:
    fall = failing(31.0, 22.0, 2.5, 40)
    values = [31.0] * 60 + fall + [fall[-1] + 0.05 * m for m in range(1, 6)]
    times = [START_MS + m * MINUTE_MS for m in range(len(values))]
    assert fall_began(times[:100], values[:100], 30.9) is not None
    assert fall_began(times, values, 30.9) is None


def test_without_a_usual_low_only_a_deep_fall_counts() -> None:
    values = [31.0] * 30 + failing(31.0, 22.0, 2.5, 60)
    times = [START_MS + m * MINUTE_MS for m in range(len(values))]
    assert fall_began(times[:60], values[:60], None) is None
    assert fall_began(times, values, None) is not None


def test_a_gap_in_the_room_leaves_the_room_unknown() -> None:
    warm, room = minutes_of([30.0] * 100), minutes_of([22.0] * 40)
    assert room_at(room, warm.at_ms[:50]) == [22.0] * 50
    assert room_at(room, warm.at_ms) is None


def test_without_a_minute_of_late_there_is_no_look() -> None:
    assert look(minutes_of([30.0] * 10), None, START_MS + HOUR_MS, 28.0, foretell) is None
