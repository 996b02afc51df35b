"""Each rule by a series made by hand, and what becomes of an alarm. Terms of ISA-18.2."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from analysis.watch.requests import Action, Request
from analysis.watch.rule_figures import rules_of
from analysis.watch.rules import (
    Evaluation,
    Memory,
    PlacedProbe,
    Series,
    Snapshot,
    SourceState,
    evaluate,
)
from analysis.watch.rules_falling import Look
from analysis.watch.rules_run import FLOOD
from analysis.watch.states import (
    HOUR_MS,
    MINUTE_MS,
    NO_FALL,
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
from config.care import CareProfile, load_care_profile
from config.errors import BadSettings
from config.settings import Settings, parse_settings
from tests.analysis.watch.worlds import RULES

LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
TOVE = Digesting("Tove", "a 220 g rat", 0, 0, 100 * HOUR_MS)
COOLING = AlarmKey(Kind.SEVERAL_COOLING)


def minutes(value: float, start: int, end: int, step: int = 1) -> list[tuple[int, float]]:
    return [(at * MINUTE_MS, value) for at in range(start, end, step)]


def story(transitions: Sequence[Transition]) -> list[tuple[Kind, Cause, float]]:
    return [(t.alarm.key.kind, t.cause, t.at_ms / MINUTE_MS) for t in transitions]


def told(transitions: Sequence[Transition]) -> list[tuple[Kind, Cause, float]]:
    return story([t for t in transitions if t.told])


def judge(
    *series: Series,
    now: float = 1000,
    requests: Sequence[Request] = (),
    digesting: tuple[Digesting, ...] = (),
) -> Evaluation:
    snapshot = Snapshot(series, digesting={"Larch": digesting})
    fresh = {s.key: Alarm(s.key, trail=Trail(from_ms=-1)) for s in series}
    return evaluate(snapshot, fresh, RULES, round(now * MINUTE_MS), requests=requests)


# ---- thresholds -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "bad", "good", "raised", "priority"),
    [
        (Kind.TOO_HOT, 36.1, 35.4, 20, Priority.MEDIUM),
        (Kind.TOO_HOT, 39.1, 35.4, 12, Priority.HIGH),
        (Kind.COOL_SIDE_WARM, 30.1, 29.4, 70, Priority.MEDIUM),
        (Kind.HUMIDITY_LOW, 49.0, 53.0, 370, Priority.LOW),
        (Kind.HUMIDITY_HIGH, 81.0, 77.0, 370, Priority.LOW),
        (Kind.PROBE_DOUBTED, 0.6, 0.2, 12, Priority.MEDIUM),
        (Kind.PROBE_STUCK, 1.0, 0.0, 10, Priority.MEDIUM),
        (Kind.PROBES_DISAGREE, 2.1, 1.4, 70, Priority.LOW),
    ],
)
def test_raised_after_its_on_delay_and_cleared_after_its_off_delay(
    kind: Kind, bad: float, good: float, raised: int, priority: Priority
) -> None:
    """Setpoints and delays are those of the shipped profile: policy, beside each its source."""
    key = AlarmKey(kind, "Larch")
    points = [*minutes(good, 0, 10), *minutes(bad, 10, 400), *minutes(good, 400, 500)]
    result = judge(Series(key, points), now=500)
    assert story(result.transitions)[0] == (kind, Cause.RAISED, raised)
    assert story(result.transitions)[-1] == (kind, Cause.CLEARED, 405)
    assert result.transitions[0].alarm.priority is priority
    assert result.alarms[key].lowest == bad


def test_hotter_still_makes_it_more_urgent_once() -> None:
    key = AlarmKey(Kind.TOO_HOT, "Larch")
    points = [*minutes(36.5, 0, 30), *minutes(39.5, 30, 60), *minutes(36.5, 60, 90)]
    result = judge(Series(key, points), now=90)
    kind = Kind.TOO_HOT
    assert story(result.transitions) == [(kind, Cause.RAISED, 10), (kind, Cause.ESCALATED, 32)]
    assert result.alarms[key].priority is Priority.HIGH


def test_within_the_deadband_it_neither_comes_nor_goes() -> None:
    key = AlarmKey(Kind.HUMIDITY_HIGH, "Larch")
    points = [*minutes(81, 0, 400), *minutes(77.1, 400, 900)]
    assert story(judge(Series(key, points)).transitions) == [
        (Kind.HUMIDITY_HIGH, Cause.RAISED, 360)
    ]


def test_no_retreat_is_shown_under_too_hot() -> None:
    hot, warm = AlarmKey(Kind.TOO_HOT, "Larch"), AlarmKey(Kind.COOL_SIDE_WARM, "Larch")
    result = judge(
        Series(hot, [*minutes(37, 0, 100), *minutes(31, 100, 200)]),
        Series(warm, minutes(31, 0, 200)),
        now=200,
    )
    assert told(result.transitions) == [
        (Kind.TOO_HOT, Cause.RAISED, 10),
        (Kind.TOO_HOT, Cause.CLEARED, 105),
        (Kind.COOL_SIDE_WARM, Cause.SURFACED, 106.5),  # a minute and a half after its cause
    ]


# ---- falling, then low ----------------------------------------------------------------------


def looks(
    start: int, end: int, *, falls: bool = True, floor: int | None = 200, value: float = 29.5
) -> list[Look]:
    return [
        Look(
            at * MINUTE_MS, value, (start - 10) * MINUTE_MS if falls else None,
            floor * MINUTE_MS if falls and floor is not None else None,
        )
        for at in range(start, end, 2)
    ]  # fmt: skip


def test_falling_then_low_is_one_alarm_that_escalates() -> None:
    points = [*minutes(29.5, 0, 60), *minutes(27.5, 60, 120), *minutes(30, 120, 140)]
    series = Series(LOW, points, [*looks(20, 60), *looks(60, 140, falls=False)])
    result = judge(series, now=140)
    kind = Kind.WARM_SIDE_LOW
    assert story(result.transitions) == [
        (kind, Cause.RAISED, 26), (kind, Cause.ESCALATED, 80), (kind, Cause.CLEARED, 125),
    ]  # fmt: skip
    falling, low, _ = result.transitions
    assert (falling.alarm.foretold_ms, falling.alarm.priority) == (200 * MINUTE_MS, Priority.LOW)
    assert falling.alarm.since_ms == 10 * MINUTE_MS
    assert (low.alarm.foretold_ms, low.alarm.priority) == (None, Priority.MEDIUM)
    assert low.alarm.since_ms == 60 * MINUTE_MS


def test_what_was_foretold_and_did_not_come_is_cleared() -> None:
    series = Series(LOW, minutes(29.5, 0, 100), [*looks(20, 40), *looks(40, 100, falls=False)])
    kind = Kind.WARM_SIDE_LOW
    assert story(judge(series, now=100).transitions) == [
        (kind, Cause.RAISED, 26), (kind, Cause.CLEARED, 60),
    ]  # fmt: skip


def test_what_was_foretold_and_is_about_to_come_is_not_cleared() -> None:
    points = [*minutes(29.5, 0, 50), *minutes(27.5, 50, 100)]
    series = Series(LOW, points, [*looks(20, 44), *looks(44, 100, falls=False)])
    kind = Kind.WARM_SIDE_LOW
    assert story(judge(series, now=100).transitions) == [
        (kind, Cause.RAISED, 26), (kind, Cause.ESCALATED, 70),
    ]  # fmt: skip


def test_a_forecast_that_comes_and_goes_raises_nothing() -> None:
    some = [look for start in (20, 30, 40) for look in looks(start, start + 6)]
    between = [look for start in (26, 36, 46) for look in looks(start, start + 4, floor=None)]
    every = sorted([*some, *between], key=lambda look: look.at_ms)
    assert judge(Series(LOW, minutes(29.5, 0, 60), every), now=60).transitions == []


def test_falling_with_an_animal_digesting_matters_more() -> None:
    series = Series(LOW, minutes(29.5, 0, 60), looks(20, 60))
    result = judge(series, now=60, digesting=(TOVE,))
    assert [t.alarm.priority for t in result.transitions] == [Priority.MEDIUM]
    assert result.transitions[0].digesting == (TOVE,)


# ---- several at once ------------------------------------------------------------------------


def falling_home(names: Sequence[str], low_from: int, until: int, apart: int = 1) -> list[Series]:
    """Enclosures that fall together, each low a little after the one before."""
    found = []
    for index, name in enumerate(names):
        low = low_from + 5 * index
        points = [*minutes(29.5, 0, low), *minutes(27, low, until)]
        shifted = looks(20 + 2 * apart * index, until)
        found.append(Series(AlarmKey(Kind.WARM_SIDE_LOW, name), points, shifted))
    return found


def test_a_power_cut_is_one_alarm_with_the_others_under_it() -> None:
    names = [f"tub {number}" for number in range(12)]
    result = judge(*falling_home(names, 60, 150, apart=0), now=149)
    assert told(result.transitions) == [
        (Kind.SEVERAL_COOLING, Cause.RAISED, 24),
        (Kind.SEVERAL_COOLING, Cause.ESCALATED, 80),  # the first is low for the on-delay
    ]
    first = next(t for t in result.transitions if t.told)
    assert first.names == tuple(sorted(names))
    low = [a for a in result.alarms.values() if a.key.kind is Kind.WARM_SIDE_LOW]
    assert len(low) == 12
    assert {a.under for a in low} == {COOLING}
    assert {a.priority for k, a in result.alarms.items() if k == COOLING} == {Priority.HIGH}


def test_two_falls_hours_apart_are_two_alarms() -> None:
    one, other = falling_home(["Birch", "Larch"], 300, 200, apart=30)
    result = judge(one, other, now=199)
    assert [(k, c) for k, c, _ in told(result.transitions)] == [
        (Kind.WARM_SIDE_LOW, Cause.RAISED), (Kind.WARM_SIDE_LOW, Cause.RAISED),
    ]  # fmt: skip


def test_the_one_that_stays_cold_when_the_others_are_back_speaks_for_itself() -> None:
    back = [*minutes(29.5, 0, 40), *minutes(27, 40, 70), *minutes(30, 70, 200)]
    cold = [*minutes(29.5, 0, 40), *minutes(27, 40, 200)]
    calm = [*looks(20, 70), *looks(70, 200, falls=False)]
    result = judge(
        Series(AlarmKey(Kind.WARM_SIDE_LOW, "Birch"), back, calm),
        Series(LOW, cold, calm),
        now=199,
    )
    assert told(result.transitions) == [
        (Kind.SEVERAL_COOLING, Cause.RAISED, 24),
        (Kind.SEVERAL_COOLING, Cause.ESCALATED, 60),
        (Kind.SEVERAL_COOLING, Cause.CLEARED, 86),
        (Kind.WARM_SIDE_LOW, Cause.SURFACED, 87.5),
    ]
    assert result.alarms[AlarmKey(Kind.WARM_SIDE_LOW, "Birch")].state is State.NORMAL
    assert result.alarms[LOW].under is None


# ---- silence --------------------------------------------------------------------------------


def placed(probe: str, enclosure: str, heard: float, zone: Zone = Zone.WARM_SIDE) -> PlacedProbe:
    return PlacedProbe(probe, enclosure, zone, 0, round(heard * MINUTE_MS))


def watch_silence(
    probes: Sequence[PlacedProbe],
    until: int,
    *,
    sources: Sequence[SourceState] | None = None,
    ended: bool | None = None,
    start: int = 0,
    before: Evaluation | None = None,
    home: Series | None = None,
) -> Evaluation:
    """A cycle every minute, in which these probes were last heard when they say."""
    result = before or Evaluation({})
    for minute in range(start, until):
        now_ms = minute * MINUTE_MS
        heard = [
            replace(
                p, heard_ms=min(p.heard_ms or 0, now_ms), newest_ms=min(p.heard_ms or 0, now_ms)
            )
            for p in probes
        ]
        series = [] if home is None else [_until(home, now_ms)]
        snapshot = Snapshot(series, heard, sources=sources, collector_ended=ended)
        more = evaluate(snapshot, result.alarms, RULES, now_ms, memory=result.memory)
        result = replace(more, transitions=[*result.transitions, *more.transitions])
    return result


def _until(series: Series, now_ms: int) -> Series:
    return Series(series.key, [point for point in series.points if point[0] <= now_ms])


def test_a_collector_that_died_is_one_message_and_its_return_another() -> None:
    dead = [placed(f"p{n}", f"tub {n}", 10) for n in range(6)]
    result = watch_silence(dead, 60)
    assert told(result.transitions) == [(Kind.COLLECTOR_SILENT, Cause.RAISED, 16)]
    assert len([a for a in result.alarms.values() if a.standing]) == 7
    back = [replace(p, heard_ms=10_000 * MINUTE_MS) for p in dead]
    result = watch_silence(back, 90, start=60, before=result)
    assert told(result.transitions)[1:] == [(Kind.COLLECTOR_SILENT, Cause.CLEARED, 60)]
    assert not any(a.standing for a in result.alarms.values())


def test_a_probe_that_stays_silent_after_it_is_said_by_itself() -> None:
    dead = [placed(f"p{n}", f"tub {n}", 10) for n in range(3)]
    result = watch_silence(dead, 60)
    back = [dead[0], *(replace(p, heard_ms=10_000 * MINUTE_MS) for p in dead[1:])]
    result = watch_silence(back, 90, start=60, before=result)
    assert told(result.transitions)[1:] == [
        (Kind.COLLECTOR_SILENT, Cause.CLEARED, 60), (Kind.NO_READINGS, Cause.SURFACED, 61.5),
    ]  # fmt: skip


def test_one_probe_alone_is_not_the_collector() -> None:
    alone = [placed("p", "Larch", 10)]
    assert told(watch_silence(alone, 60).transitions) == [(Kind.NO_READINGS, Cause.RAISED, 21)]
    ended = watch_silence(alone, 60, ended=True)
    assert told(ended.transitions) == [(Kind.COLLECTOR_SILENT, Cause.RAISED, 16)]


def test_probes_of_one_line_are_one_message() -> None:
    line = [placed("a", "Birch", 10), placed("b", "Larch", 10.5), placed("c", "Rowan", 11)]
    alive = placed("d", "Rowan", 10_000, Zone.COOL_SIDE)
    result = watch_silence([*line, alive], 60)
    assert told(result.transitions) == [(Kind.SEVERAL_SILENT, Cause.RAISED, 21)]
    (first,) = [t for t in result.transitions if t.told]
    assert first.names == ("Birch", "Larch", "Rowan")
    silent = [a for a in result.alarms.values() if a.key.kind is Kind.NO_READINGS]
    assert {a.under for a in silent if a.standing} == {AlarmKey(Kind.SEVERAL_SILENT)}


def test_probes_that_fall_silent_minutes_apart_are_two() -> None:
    apart = [placed("a", "Birch", 10), placed("b", "Larch", 14), placed("c", "Rowan", 10_000)]
    result = watch_silence(apart, 60)
    assert [k for k, _, _ in told(result.transitions)] == [Kind.NO_READINGS, Kind.NO_READINGS]


def test_one_that_falls_silent_later_is_not_of_that_line() -> None:
    line = [placed("a", "Birch", 10), placed("b", "Larch", 10)]
    later = placed("c", "Rowan", 40)
    alive = placed("d", "Rowan", 10_000, Zone.COOL_SIDE)
    result = watch_silence([*line, later, alive], 90)
    assert told(result.transitions) == [
        (Kind.SEVERAL_SILENT, Cause.RAISED, 21), (Kind.NO_READINGS, Cause.RAISED, 51),
    ]  # fmt: skip


def test_after_a_start_probes_that_were_lost_at_different_times_are_not_one_fault() -> None:
    lost = [placed("a", "Birch", 10), placed("b", "Larch", 200), placed("c", "Rowan", 10_000)]
    heard = [replace(p, heard_ms=min(p.heard_ms or 0, 500 * MINUTE_MS)) for p in lost]
    snapshot = Snapshot([], heard, watching_since_ms=489 * MINUTE_MS)
    result = evaluate(snapshot, {}, RULES, 500 * MINUTE_MS)
    assert [k for k, _, _ in told(result.transitions)] == [Kind.NO_READINGS, Kind.NO_READINGS]


def test_while_its_process_lives_it_is_not_the_collector() -> None:
    silent = [placed("a", "Birch", 10), placed("b", "Larch", 10)]
    result = watch_silence(silent, 60, ended=False)
    assert told(result.transitions) == [(Kind.SEVERAL_SILENT, Cause.RAISED, 21)]


@pytest.mark.parametrize(
    ("source", "kind"), [("mqtt", Kind.BROKER_AWAY), ("serial /dev/ttyUSB0", Kind.LINE_AWAY)]
)
def test_what_the_collector_misses_is_said_and_not_its_probes(source: str, kind: Kind) -> None:
    away = [SourceState(source, False, 10 * MINUTE_MS)]
    silent = [placed(f"p{n}", f"tub {n}", 10) for n in range(4)]
    result = watch_silence(silent, 60, sources=away, ended=False, start=11)
    assert told(result.transitions) == [(kind, Cause.RAISED, 14)]
    back = [SourceState(source, True, 60 * MINUTE_MS)]
    heard = [replace(p, heard_ms=10_000 * MINUTE_MS) for p in silent]
    result = watch_silence(heard, 80, sources=back, ended=False, start=60, before=result)
    assert told(result.transitions)[1:] == [(kind, Cause.CLEARED, 60)]


@pytest.mark.parametrize(
    ("kind", "raised"), [(Kind.CLOCK_UNSURE, 20), (Kind.NOT_WRITTEN, 13)]
)  # fmt: skip
def test_while_readings_wait_their_probes_are_not_a_second_fault(kind: Kind, raised: int) -> None:
    silent = [placed(f"p{n}", f"tub {n}", 10) for n in range(4)]
    waits = Series(AlarmKey(kind), [*minutes(0.0, 0, 10), *minutes(1.0, 10, 60)])
    result = watch_silence(silent, 60, ended=False, home=waits)
    assert told(result.transitions) == [(kind, Cause.RAISED, raised)]
    assert len([a for a in result.alarms.values() if a.standing]) == 5
    goes_on = Series(waits.key, [*waits.points, *minutes(0.0, 60, 80)])
    heard = [replace(p, heard_ms=10_000 * MINUTE_MS) for p in silent]
    result = watch_silence(heard, 80, ended=False, start=60, before=result, home=goes_on)
    assert told(result.transitions)[1:] == [(kind, Cause.CLEARED, 60)]
    assert not any(a.standing for a in result.alarms.values())


# ---- the monitor itself ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "value", "raised", "priority"),
    [(Kind.CARD_FILLING, 900.0, 5, Priority.MEDIUM), (Kind.CARD_FILLING, 150.0, 5, Priority.HIGH),
     (Kind.CLOCK_UNSURE, 1.0, 15, Priority.MEDIUM), (Kind.NOT_WRITTEN, 1.0, 8, Priority.HIGH)],
)  # fmt: skip
def test_the_monitor_itself(kind: Kind, value: float, raised: int, priority: Priority) -> None:
    good = 5_000.0 if kind is Kind.CARD_FILLING else 0.0
    points = [*minutes(good, 0, 5), *minutes(value, 5, 40), *minutes(good, 40, 60)]
    result = judge(Series(AlarmKey(kind), points), now=60)
    assert [c for _, c, _ in story(result.transitions)] == [Cause.RAISED, Cause.CLEARED]
    assert story(result.transitions)[0][2] == raised
    assert result.transitions[0].alarm.priority is priority


def test_a_trail_that_follows_changes_nothing_else() -> None:
    alarm = Alarm(
        LOW, State.ACKNOWLEDGED, Priority.HIGH, 1, True, 2, 3, 28.0, 0.5, 27.5, 27.0, 4, True, 5,
        True, AlarmKey(Kind.SEVERAL_COOLING),
    )  # fmt: skip
    trail = Trail(7, 8, 9, (10, None), True, 11.5, 12, replace(NO_FALL, look_ms=13))
    after = alarm.followed(trail)
    assert after == alarm
    assert after.trail == trail
    assert trail.judged(14, (15,), beyond_open=True, furthest=16.0, back_ms=17) == replace(
        trail, judged_ms=14, beyond_ms=(15,), beyond_open=True, furthest=16.0, back_ms=17
    )


# ---- chattering and floods ------------------------------------------------------------------


def on_and_off(times: int, key: AlarmKey) -> Series:
    """A probe that is stuck for a minute, good for eight, and so on."""
    points = []
    for n in range(times):
        points += [*minutes(1.0, 9 * n, 9 * n + 1), *minutes(0.0, 9 * n + 1, 9 * n + 9)]
    return Series(key, [*points, *minutes(0.0, 9 * times, 9 * times + 100)])


def test_what_chatters_is_held_and_it_is_said_once() -> None:
    key = AlarmKey(Kind.PROBE_STUCK, "Larch", "p1")
    result = judge(on_and_off(6, key), now=140)
    raised = [t for t in result.transitions if t.cause is Cause.RAISED]
    assert [t.alarm.latched for t in raised] == [False, False, True]
    assert story(result.transitions)[-1] == (Kind.PROBE_STUCK, Cause.CLEARED, 76)
    assert not result.alarms[key].latched  # 30 minutes after its last one, at 45


def test_raised_again_within_a_minute_is_chattering() -> None:
    key = AlarmKey(Kind.PROBE_STUCK, "Larch", "p1")
    points = [*minutes(1, 0, 1), *minutes(0, 1, 7), *minutes(1, 7, 8), *minutes(0, 8, 60)]
    result = judge(Series(key, points), now=60)
    assert [(c, m) for _, c, m in story(result.transitions)] == [
        (Cause.RAISED, 0), (Cause.CLEARED, 6), (Cause.RAISED, 7), (Cause.CLEARED, 38),
    ]  # fmt: skip


def test_a_flood_is_one_message_and_its_end_another() -> None:
    """More than 10 in 10 minutes (ISA-18.2, from memory)."""
    stuck = [AlarmKey(Kind.PROBE_STUCK, "Larch", f"p{n:02}") for n in range(20)]
    series = [Series(key, minutes(1.0, n // 4, 60)) for n, key in enumerate(stuck)]
    low = Series(LOW, minutes(26.0, 0, 60))
    result = judge(*series, low, now=60, digesting=(TOVE,))
    calls = told(result.transitions)
    assert [k for k, _, _ in calls].count(Kind.PROBE_STUCK) == 10
    assert (Kind.FLOOD, Cause.RAISED, 2) in calls
    assert (Kind.WARM_SIDE_LOW, Cause.RAISED, 5) in calls  # urgent warmth is never withheld
    assert calls[-1:] == [(Kind.FLOOD, Cause.CLEARED, 15)]
    flood = next(t for t in result.transitions if t.alarm.key == FLOOD)
    assert len(flood.names) == 11
    assert result.transitions[-1].names[0] == "Larch: warm side low"
    assert len(result.transitions[-1].names) == 21


def test_ten_in_ten_minutes_is_no_flood() -> None:
    stuck = [AlarmKey(Kind.PROBE_STUCK, "Larch", f"p{n:02}") for n in range(10)]
    result = judge(*(Series(key, minutes(1.0, 0, 60)) for key in stuck), now=60)
    assert FLOOD not in result.alarms
    assert len(told(result.transitions)) == 10


# ---- what a keeper asks ---------------------------------------------------------------------


def asked(action: Action, at: float, until: float | None = None, key: AlarmKey = LOW) -> Request:
    until_ms = None if until is None else round(until * MINUTE_MS)
    return Request(round(at), round(at * MINUTE_MS), "Ana", action, key, until_ms)


def test_acknowledged_and_returned() -> None:
    series = Series(LOW, [*minutes(27, 0, 60), *minutes(30, 60, 90)])
    result = judge(series, now=90, requests=[asked(Action.ACKNOWLEDGE, 40)])
    assert [(t.cause, t.alarm.state, t.who) for t in result.transitions] == [
        (Cause.RAISED, State.UNACKNOWLEDGED, None),
        (Cause.ACKNOWLEDGED, State.ACKNOWLEDGED, "Ana"),
        (Cause.CLEARED, State.NORMAL, None),
    ]
    assert result.settled == (40,)


def test_acknowledged_after_it_has_returned() -> None:
    series = Series(LOW, [*minutes(27, 0, 60), *minutes(30, 60, 90)])
    result = judge(series, now=90, requests=[asked(Action.ACKNOWLEDGE, 80)])
    assert result.alarms[LOW].state is State.NORMAL


def test_an_acknowledgement_that_is_older_than_the_reading_answers_nothing() -> None:
    result = judge(
        Series(LOW, minutes(27, 0, 60)), now=60, requests=[asked(Action.ACKNOWLEDGE, 10)]
    )
    assert [t.cause for t in result.transitions] == [Cause.RAISED]
    assert result.alarms[LOW].state is State.UNACKNOWLEDGED
    assert result.settled == (10,)


def test_shelved_it_is_judged_and_at_the_end_raised_anew() -> None:
    series = Series(LOW, minutes(27, 0, 200))
    result = judge(series, now=199, requests=[asked(Action.SHELVE, 5, 120)])
    kind = Kind.WARM_SIDE_LOW
    assert story(result.transitions) == [
        (kind, Cause.SHELVED, 5), (kind, Cause.RAISED, 20), (kind, Cause.UNSHELVED, 120),
    ]  # fmt: skip
    assert told(result.transitions) == [(kind, Cause.UNSHELVED, 120)]
    assert result.alarms[LOW].shown_state == "unacknowledged"


def test_shelved_and_over_before_its_end_says_nothing() -> None:
    series = Series(LOW, [*minutes(27, 0, 60), *minutes(30, 60, 200)])
    result = judge(series, now=199, requests=[asked(Action.SHELVE, 5, 120)])
    assert told(result.transitions) == []
    assert result.alarms[LOW].shelved_until_ms is None
    until_100 = Series(LOW, series.points[:100])
    shelved = judge(until_100, now=100, requests=[asked(Action.SHELVE, 5, 120)])
    assert shelved.alarms[LOW].shown_state == "shelved"


def test_unshelved_by_hand() -> None:
    requests = [asked(Action.SHELVE, 30, 500), asked(Action.UNSHELVE, 50)]
    result = judge(Series(LOW, minutes(27, 0, 60)), now=60, requests=requests)
    kind = Kind.WARM_SIDE_LOW
    assert told(result.transitions) == [(kind, Cause.RAISED, 20), (kind, Cause.UNSHELVED, 50)]
    assert result.transitions[-1].who == "Ana"


def test_out_of_service_it_is_not_judged_and_in_service_anew() -> None:
    requests = [asked(Action.OUT_OF_SERVICE, 30), asked(Action.IN_SERVICE, 100)]
    result = judge(Series(LOW, minutes(27, 0, 60)), now=60, requests=requests[:1])
    assert result.alarms[LOW].shown_state == "out of service"
    assert not result.alarms[LOW].standing
    result = judge(Series(LOW, minutes(27, 0, 200)), now=199, requests=requests)
    kind = Kind.WARM_SIDE_LOW
    assert told(result.transitions) == [(kind, Cause.RAISED, 20), (kind, Cause.RAISED, 121)]
    assert result.alarms[LOW].shown_state == "unacknowledged"


def test_a_request_that_changes_nothing_is_settled_and_leaves_no_trace() -> None:
    requests = [asked(action, n) for n, action in enumerate(
        (Action.ACKNOWLEDGE, Action.UNSHELVE, Action.IN_SERVICE), start=1)]  # fmt: skip
    result = judge(now=60, requests=requests)
    assert (result.transitions, result.settled) == ([], (1, 2, 3))


def test_memory_is_bounded() -> None:
    key = AlarmKey(Kind.PROBE_STUCK, "Larch", "p1")
    assert judge(on_and_off(40, key), now=2_000).memory == Memory()


# ---- figures --------------------------------------------------------------------------------


def test_each_enclosure_may_have_its_own() -> None:
    settings = parse_settings(
        '[[watch.enclosure]]\nname = "Birch"\nwarm_side_low_c = 26.5\non_delay_minutes = 40\n'
        "humidity_hours = 2\ncool_side_high_c = 31\ntoo_hot_c = 37\nhumidity_low_pct = 60\n",
        "here",
    )
    rules = rules_of(care(), settings)
    own, common = rules.of("Birch"), rules.of("Larch")
    assert common == RULES.common
    low = own.thresholds[Kind.WARM_SIDE_LOW]
    assert (low.setpoint, low.steps[0].on_delay_ms) == (26.5, 40 * MINUTE_MS)
    assert low.steps[1].on_delay_ms == 10 * MINUTE_MS
    assert own.falling.floor_c == 26.5
    dry = own.thresholds[Kind.HUMIDITY_LOW]
    assert (dry.setpoint, dry.steps[0].on_delay_ms) == (60.0, 2 * HOUR_MS)
    assert own.thresholds[Kind.HUMIDITY_HIGH].setpoint == 80.0
    assert own.thresholds[Kind.COOL_SIDE_WARM].setpoint == 31.0
    assert own.thresholds[Kind.TOO_HOT].setpoint == 37.0


@pytest.mark.parametrize(
    ("text", "why"),
    [("warm_side_low = 26", "no such setting"), ("warm_side_low_c = 90", "less than 50"),
     ("on_delay_minutes = -1", "greater than or equal to 0"),
     ("humidity_low_pct = 80\nhumidity_high_pct = 60", "is not below 60"),
     ("warm_side_low_c = 30\ntoo_hot_c = 29", "is not below 29")],
)  # fmt: skip
def test_a_wrong_value_is_one_clear_line(text: str, why: str) -> None:
    with pytest.raises(BadSettings, match=why) as caught:
        parse_settings(f'[[watch.enclosure]]\nname = "Larch"\n{text}', "here")
    assert "\n" not in str(caught.value)


def test_two_entries_of_one_enclosure_and_a_floor_above_the_profiles_heat() -> None:
    entry = '[[watch.enclosure]]\nname = "Larch"\n'
    with pytest.raises(BadSettings, match="Larch has two"):
        parse_settings(entry + entry, "here")
    with pytest.raises(BadSettings, match=r"too_hot_c of Larch 36 is not above"):
        rules_of(care(), parse_settings(entry + "warm_side_low_c = 37", "here"))


def test_a_profile_from_before_still_serves() -> None:
    old = care().model_dump()
    names = ("warm_side_low", "deadband", "on_delay", "on_delay_digesting", "off_delay")
    old["alarm"] = {n: old["alarm"][n] for n in (*names, "no_readings")}
    assert rules_of(CareProfile.model_validate(old), Settings()) == RULES


def care() -> CareProfile:
    return load_care_profile("boa-constrictor")
