"""The alarm rules, by example and against their definitions. Terms of ISA-18.2 / IEC 62682."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch.rule_figures import rules_of
from analysis.watch.rules import PlacedProbe, Series, Snapshot, evaluate
from analysis.watch.states import (
    MINUTE_MS,
    Alarm,
    AlarmKey,
    Cause,
    Digesting,
    Kind,
    Priority,
    State,
    Trail,
    Transition,
)
from collector.book.records import Zone
from config.care import load_care_profile
from config.errors import BadSettings
from config.settings import Settings

RULES = rules_of(load_care_profile("boa-constrictor"), Settings())
LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
TOVE = Digesting("Tove", "a 220 g rat", 0, 0, 10_000 * MINUTE_MS)
Points = Sequence[tuple[int, float]]
Alarms = dict[AlarmKey, Alarm]


def minutes(*values: tuple[float, float]) -> list[tuple[int, float]]:
    """(minute, °C) as (ms, °C)."""
    return [(round(at * MINUTE_MS), value) for at, value in values]


def steady(value: float, start: int, end: int, step: int = 1) -> list[tuple[int, float]]:
    return minutes(*[(at, value) for at in range(start, end, step)])


def judge(
    points: Points, alarms: Alarms | None = None, digesting: tuple[Digesting, ...] = ()
) -> tuple[Alarms, list[Transition]]:
    known: Alarms = {LOW: Alarm(LOW, trail=Trail(from_ms=-1))} if alarms is None else alarms
    snapshot = Snapshot([Series(LOW, points)], digesting={"Larch": digesting})
    result = evaluate(snapshot, known, RULES, points[-1][0] if points else 0)
    return result.alarms, result.transitions


def story(transitions: list[Transition]) -> list[tuple[Cause, float]]:
    return [(t.cause, t.at_ms / MINUTE_MS) for t in transitions]


# ---- on-delay, off-delay, deadband ----------------------------------------------------------


def test_raised_when_below_for_the_whole_on_delay() -> None:
    _, transitions = judge([*steady(30.0, 0, 5), *steady(27.0, 5, 60)])
    assert story(transitions) == [(Cause.RAISED, 25.0)]
    alarm = transitions[0].alarm
    assert alarm.state is State.UNACKNOWLEDGED
    assert alarm.priority is Priority.MEDIUM
    assert alarm.since_ms == 5 * MINUTE_MS
    assert not alarm.since_open
    assert (alarm.setpoint, alarm.deadband, alarm.value, alarm.lowest) == (28.0, 0.5, 27.0, 27.0)


def test_a_door_open_for_a_moment_raises_nothing() -> None:
    points = [*steady(30, 0, 5), *steady(24, 5, 25), *steady(30, 25, 60)]
    assert judge(points)[1] == []


def test_one_value_at_the_setpoint_starts_the_on_delay_again() -> None:
    points = [*steady(27, 0, 15), *minutes((15, 28.0)), *steady(27, 16, 40)]
    assert story(judge(points)[1]) == [(Cause.RAISED, 36.0)]


def test_digesting_halves_the_on_delay_and_is_more_urgent() -> None:
    later = replace(TOVE, taken_ms=-60 * 60 * MINUTE_MS)
    _, transitions = judge(steady(27, 0, 60), digesting=(later,))
    assert story(transitions) == [(Cause.RAISED, 10.0)]
    assert transitions[0].alarm.priority is Priority.HIGH
    assert transitions[0].digesting == (later,)


@pytest.mark.parametrize(("hours_ago", "raised"), [(47.0, 5.0), (47.9, 5.0), (48.0, 10.0)])
def test_it_is_sharpest_in_the_first_48_hours(hours_ago: float, raised: float) -> None:
    fresh = replace(TOVE, taken_ms=-round(hours_ago * 60 * MINUTE_MS))
    assert story(judge(steady(27, 0, 60), digesting=(fresh,))[1]) == [(Cause.RAISED, raised)]


def test_a_meal_whose_window_has_closed_is_not_digesting() -> None:
    closed = replace(TOVE, end_ms=5 * MINUTE_MS)
    _, transitions = judge(steady(27, 0, 60), digesting=(closed,))
    assert story(transitions) == [(Cause.RAISED, 20.0)]
    assert transitions[0].digesting == ()


def test_a_meal_taken_while_the_alarm_stands_makes_it_more_urgent_once() -> None:
    alarms, _ = judge(steady(27, 0, 30))
    alarms = {LOW: replace(alarms[LOW], state=State.ACKNOWLEDGED)}
    meal = replace(TOVE, start_ms=40 * MINUTE_MS)
    alarms, transitions = judge(steady(27, 30, 60), alarms, (meal,))
    assert story(transitions) == [(Cause.ESCALATED, 40.0)]
    assert (alarms[LOW].state, alarms[LOW].priority) == (State.UNACKNOWLEDGED, Priority.HIGH)


def test_cleared_when_back_above_the_deadband_for_the_off_delay() -> None:
    low = steady(26, 0, 30)
    points = [*low, *minutes((30, 25.5)), *steady(28.4, 31, 40), *steady(28.5, 40, 60)]
    _, transitions = judge(points)
    assert story(transitions) == [(Cause.RAISED, 20.0), (Cause.CLEARED, 45.0)]
    cleared = transitions[1]
    assert cleared.alarm.state is State.RETURNED
    assert cleared.over_ms == 40 * MINUTE_MS
    assert cleared.alarm.lowest == 25.5
    assert cleared.value == 28.5


def test_an_acknowledged_alarm_returns_to_normal() -> None:
    alarms, _ = judge(steady(27, 0, 30))
    alarms = {LOW: replace(alarms[LOW], state=State.ACKNOWLEDGED)}
    alarms, transitions = judge(steady(29, 30, 60), alarms)
    assert story(transitions) == [(Cause.CLEARED, 35.0)]
    assert alarms[LOW].state is State.NORMAL


def test_raised_again_after_its_return() -> None:
    points = [*steady(27, 0, 30), *steady(29, 30, 40), *steady(26, 40, 70)]
    assert story(judge(points)[1]) == [
        (Cause.RAISED, 20.0),
        (Cause.CLEARED, 35.0),
        (Cause.RAISED, 60.0),
    ]


# ---- gaps and silence -----------------------------------------------------------------------


def test_a_gap_starts_both_delays_again() -> None:
    below = [*steady(27, 0, 15), *steady(27, 31, 60)]
    alarms, transitions = judge(below)
    assert story(transitions) == [(Cause.RAISED, 51.0)]
    assert transitions[0].alarm.since_open  # it may have been low through the gap
    back = [*steady(29, 60, 63), *steady(29, 79, 90)]
    assert story(judge(back, alarms)[1]) == [(Cause.CLEARED, 84.0)]


def test_readings_as_far_apart_as_the_gap_allows_go_on() -> None:
    points = minutes((0, 30), (15, 27), (30, 27), (45, 27))
    assert story(judge(points)[1]) == [(Cause.RAISED, 45.0)]


def test_without_readings_the_state_is_kept() -> None:
    alarms, _ = judge(steady(27, 0, 30))
    result = evaluate(Snapshot([Series(LOW)]), alarms, RULES, 10_000 * MINUTE_MS)
    assert result.transitions == []
    assert result.alarms[LOW] == alarms[LOW]
    assert result.alarms[LOW].standing


def test_a_probe_taken_away_withdraws_what_stood() -> None:
    alarms, _ = judge(steady(27, 0, 30))
    result = evaluate(Snapshot(), alarms, RULES, 40 * MINUTE_MS)
    assert story(result.transitions) == [(Cause.WITHDRAWN, 40.0)]
    assert evaluate(Snapshot(), result.alarms, RULES, 50 * MINUTE_MS).transitions == []


def probe(heard: float | None, placed: float = 0, zone: Zone = Zone.WARM_SIDE) -> PlacedProbe:
    heard_ms = None if heard is None else round(heard * MINUTE_MS)
    return PlacedProbe("p1", "Larch", zone, round(placed * MINUTE_MS), heard_ms)


def silence(
    one: PlacedProbe, now: float, alarms: Alarms | None = None, watching: float = 0
) -> tuple[Alarms, list[Transition]]:
    snapshot = Snapshot([], [one], round(watching * MINUTE_MS))
    result = evaluate(snapshot, alarms or {}, RULES, round(now * MINUTE_MS))
    return result.alarms, result.transitions


@pytest.mark.parametrize(
    ("heard", "placed", "watching", "raised_after"),
    [(50.0, 0.0, 0.0, 60.0), (None, 50.0, 0.0, 60.0), (10.0, 50.0, 0.0, 60.0),
     (10.0, 0.0, 50.0, 60.0)],
)  # fmt: skip
def test_silence_is_counted_from_the_last_reading_the_placement_or_the_start(
    heard: float | None, placed: float, watching: float, raised_after: float
) -> None:
    one = probe(heard, placed)
    assert silence(one, raised_after, watching=watching)[1] == []
    alarms, transitions = silence(one, raised_after + 0.01, watching=watching)
    assert [t.cause for t in transitions] == [Cause.RAISED]
    assert silence(one, raised_after + 500, alarms, watching)[1] == []


def test_silence_is_over_with_the_next_reading_but_not_with_an_old_one() -> None:
    alarms, raised = silence(probe(0), 11)
    assert raised[0].alarm.since_ms == 0
    assert silence(probe(0.5), 30, alarms)[1] == []  # arrived late, and is old news
    alarms, transitions = silence(probe(30), 30.5, alarms)
    assert [(t.cause, t.over_ms) for t in transitions] == [(Cause.CLEARED, 30 * MINUTE_MS)]
    assert alarms[AlarmKey(Kind.NO_READINGS, "Larch", "p1")].state is State.RETURNED


def test_a_silent_warm_side_matters_more_than_a_silent_room() -> None:
    assert silence(probe(0), 11)[1][0].alarm.priority is Priority.MEDIUM
    assert silence(probe(0, zone=Zone.ROOM), 11)[1][0].alarm.priority is Priority.LOW


# ---- laws -----------------------------------------------------------------------------------

_STEPS = st.sampled_from([1, 2, 4, 7, 15, 16, 40])
_VALUES = st.sampled_from([25.0, 27.9, 28.0, 28.2, 28.499, 28.5, 31.0])
# Stretches of one value, so that delays are reached; a step of 16 and more is a gap.
_STRETCHES = st.lists(st.tuples(_VALUES, _STEPS, st.integers(1, 12)), min_size=1, max_size=12)


@st.composite
def series(draw: st.DrawFn) -> list[tuple[int, float]]:
    points, at = [], 0
    for value, step, count in draw(_STRETCHES):
        for _ in range(count):
            at += step
            points.append((at * MINUTE_MS, value))
    return points


def by_definition(points: Points) -> list[tuple[Cause, int]]:
    """Straight from the words: look back from each reading over all that came after the last
    change, and ask whether the condition held without a gap for the delay."""
    found: list[tuple[Cause, int]] = []
    begin = 0
    for index, (at_ms, _) in enumerate(points):
        standing = bool(found) and found[-1][0] is Cause.RAISED
        delay = 5 * MINUTE_MS if standing else 20 * MINUTE_MS
        for first in range(begin, index + 1):
            stretch = points[first : index + 1]
            holds = all((v >= 28.5) if standing else (v < 28.0) for _, v in stretch)
            whole = all(b - a <= RULES.gap_ms for (a, _), (b, _) in pairwise(stretch))
            if holds and whole and at_ms - stretch[0][0] >= delay:
                found.append((Cause.CLEARED if standing else Cause.RAISED, at_ms))
                begin = index + 1
                break
    return found


@given(series())
def test_transitions_are_what_the_definition_says(points: list[tuple[int, float]]) -> None:
    _, transitions = judge(points)
    assert [(t.cause, t.at_ms) for t in transitions] == by_definition(points)


@given(series(), st.data())
def test_how_often_and_how_late_it_is_evaluated_makes_no_difference(
    points: list[tuple[int, float]], data: st.DataObject
) -> None:
    alarms: Alarms = {LOW: Alarm(LOW, trail=Trail(from_ms=-1))}
    transitions: list[Transition] = []
    start = 0
    while start < len(points):
        end = data.draw(st.integers(start + 1, len(points)))
        # What was judged already comes again, as it does from the store.
        again = data.draw(st.integers(0, start))
        alarms, more = judge(points[again:end], alarms)
        transitions += more
        start = end
    once, at_once = judge(points)
    assert transitions == at_once
    assert alarms == once


@given(series(), st.data())
def test_a_restart_makes_no_difference(
    points: list[tuple[int, float]], data: st.DataObject
) -> None:
    """Trails are lost; the next watch looks back from the last checkpoint, but not beyond the
    alarm's last change."""
    _, at_once = judge(points)
    cut = data.draw(st.integers(1, len(points)))
    checkpoint_ms = points[data.draw(st.integers(0, cut - 1))][0]
    alarms, before = judge(points[:cut])
    kept = alarms[LOW]
    from_ms = max(
        kept.changed_ms or -1, checkpoint_ms - RULES.lookback_ms(Kind.WARM_SIDE_LOW, "Larch")
    )
    restarted = {LOW: replace(kept, trail=Trail(from_ms=from_ms))}
    _, after = judge(points, restarted)
    told = [(t.cause, t.at_ms, t.alarm.since_ms, t.over_ms) for t in [*before, *after]]
    assert told == [(t.cause, t.at_ms, t.alarm.since_ms, t.over_ms) for t in at_once]


@given(st.lists(st.floats(28.0, 28.49), min_size=1, max_size=60))
def test_nothing_chatters_within_the_deadband(values: list[float]) -> None:
    points = minutes(*enumerate(values, start=40))
    assert judge(points)[1] == []
    standing, _ = judge(steady(27, 0, 40))
    assert judge(points, standing)[1] == []


@given(series())
def test_raised_and_cleared_take_turns_and_the_lowest_is_the_lowest(
    points: list[tuple[int, float]],
) -> None:
    _, transitions = judge(points)
    causes = [t.cause for t in transitions]
    assert (
        causes
        == [Cause.RAISED, Cause.CLEARED] * (len(causes) // 2) + causes[len(causes) // 2 * 2 :]
    )
    for transition in transitions:
        since_ms = transition.alarm.since_ms
        assert since_ms is not None
        between = [v for at, v in points if since_ms <= at <= transition.at_ms]
        assert transition.alarm.lowest == min(between)


@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=40))
def test_silence_raised_iff_longer_than_the_limit(steps: list[tuple[int, bool]]) -> None:
    alarms: Alarms = {}
    now, heard = 0, 0
    for step, reports in steps:
        now += step
        heard = now if reports else heard
        alarms, _ = silence(probe(heard), now, alarms)
        (alarm,) = alarms.values()
        assert alarm.standing == (now - heard > 10)


# ---- figures --------------------------------------------------------------------------------


def test_figures_of_the_shipped_profile() -> None:
    """The profile's own numbers: policy, beside each its source."""
    low = RULES.of("Larch").thresholds[Kind.WARM_SIDE_LOW]
    minutes_ = [step.on_delay_ms / MINUTE_MS for step in low.steps]
    assert (low.setpoint, low.deadband, low.off_delay_ms) == (28.0, 0.5, 5 * MINUTE_MS)
    assert minutes_ == [20, 10, 5]
    assert [step.setpoint for step in low.steps] == [28.0] * 3
    assert (RULES.silence_ms, RULES.gap_ms) == (10 * MINUTE_MS, 15 * MINUTE_MS)


@pytest.mark.parametrize(
    ("name", "change", "why"),
    [("on_delay", {"unit": "furlong"}, "give it in s or min or h"),
     ("warm_side_low", {"unit": "degF"}, "give it in Cel"),
     ("off_delay", {"value": -1.0}, "is below zero")],
)  # fmt: skip
def test_a_wrong_unit_is_one_clear_line(name: str, change: dict[str, object], why: str) -> None:
    care = load_care_profile("boa-constrictor")
    figure = getattr(care.alarm, name).model_copy(update=change)
    care = care.model_copy(update={"alarm": care.alarm.model_copy(update={name: figure})})
    with pytest.raises(BadSettings, match=rf"alarm\.{name}.*{why}"):
        rules_of(care, Settings())
