"""Laws of the alarms, over worlds made by hypothesis: states, requests, causes, floods, chattering.

Terms of ISA-18.2 / IEC 62682. Nothing of how the rules work is used but what they say happened.
"""

from __future__ import annotations

from dataclasses import replace

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from analysis.watch.requests import Action
from analysis.watch.rule_figures import FLOOD_ALARMS, FLOOD_MS
from analysis.watch.rules_run import FLOOD
from analysis.watch.states import MINUTE_MS, AlarmKey, Cause, Kind, Priority, State, Transition
from tests.analysis.watch.worlds import Watch, World, watched_at_once, worlds

SERVICE = (Action.OUT_OF_SERVICE, Action.IN_SERVICE)
LOW = Kind.WARM_SIDE_LOW
# Shrinking such a world takes minutes and rarely makes it plainer.
_SOME = settings(
    max_examples=60, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate)
)


@_SOME
@given(worlds(), st.lists(st.integers(1, 400), max_size=40, unique=True))
def test_when_and_how_often_it_is_evaluated_makes_no_difference(
    world: World, moments: list[int]
) -> None:
    watch = Watch(world)
    for minute in sorted(moments):
        if minute * MINUTE_MS < world.end_ms:
            watch.evaluate(minute * MINUTE_MS + 500)
    watch.evaluate(world.end_ms)
    assert watch.told() == watched_at_once(world).told()


@_SOME
@given(worlds(), st.lists(st.tuples(st.integers(1, 400), st.booleans()), max_size=25))
def test_killed_at_any_moment_it_tells_the_same_story(
    world: World, moments: list[tuple[int, bool]]
) -> None:
    # A fall that is out of service leaves no trail, so what it was part of is found a little late.
    served = [r for r in world.requests if not (r.action in SERVICE and r.key.kind is LOW)]
    world = replace(world, requests=served)
    watch = Watch(world)
    for minute, killed in sorted(moments):
        if watch.seen_ms < minute * MINUTE_MS + 500 < world.end_ms:
            watch.evaluate(minute * MINUTE_MS + 500)
            if killed:
                watch.restart()
    watch.evaluate(world.end_ms)
    assert watch.told() == watched_at_once(world).told()


def by_alarm(transitions: list[Transition]) -> dict[AlarmKey, list[Transition]]:
    found: dict[AlarmKey, list[Transition]] = {}
    for transition in transitions:
        found.setdefault(transition.alarm.key, []).append(transition)
    return found


@_SOME
@given(worlds())
def test_nothing_is_told_while_it_is_shelved_or_out_of_service(world: World) -> None:
    for own in by_alarm(watched_at_once(world).transitions).values():
        shelved_until: int | None = None
        served = True
        for one in own:
            if one.cause is Cause.SHELVED:
                shelved_until = one.until_ms
                assert shelved_until is not None
            elif one.cause in (Cause.UNSHELVED, Cause.OUT_OF_SERVICE):
                shelved_until = None
            served = {Cause.OUT_OF_SERVICE: False, Cause.IN_SERVICE: True}.get(one.cause, served)
            if shelved_until is not None:
                assert one.at_ms <= shelved_until
                assert not one.told
            assert served or not one.told
            assert served or not one.alarm.standing


@_SOME
@given(worlds())
def test_a_shelving_ends_when_it_says_and_what_stands_is_told_once(world: World) -> None:
    watch = watched_at_once(world)
    for own in by_alarm(watch.transitions).values():
        for index, one in enumerate(own):
            if one.cause is not Cause.SHELVED or one.until_ms is None:
                continue
            ends = (Cause.UNSHELVED, Cause.SHELVED, Cause.OUT_OF_SERVICE)
            end = next((t for t in own[index + 1 :] if t.cause in ends), None)
            assert end is not None or one.until_ms > world.end_ms
            if end is not None and end.cause is Cause.UNSHELVED:
                assert end.at_ms <= one.until_ms
                assert end.who == "Ana" or end.at_ms == one.until_ms
                heard = end.told or end.withheld or end.alarm.under is not None
                assert heard == end.alarm.standing
                assert not end.alarm.standing or end.alarm.state is State.UNACKNOWLEDGED


@_SOME
@given(worlds())
def test_every_standing_alarm_was_raised_once_since_it_was_last_normal(world: World) -> None:
    ends = (Cause.CLEARED, Cause.WITHDRAWN, Cause.OUT_OF_SERVICE)
    watch = watched_at_once(world)
    for key, own in by_alarm(watch.transitions).items():
        raisings = 0
        for one in own:
            raisings = 0 if one.cause in ends else raisings + (one.cause is Cause.RAISED)
            assert raisings <= 1
            assert one.alarm.standing == (raisings == 1)
        assert watch.alarms[key].standing == (raisings == 1)


@_SOME
@given(worlds())
def test_it_only_ever_becomes_more_urgent_while_it_stands(world: World) -> None:
    for own in by_alarm(watched_at_once(world).transitions).values():
        before = Priority.LOW
        for one in own:
            if one.cause is Cause.RAISED:
                before = one.alarm.priority
            elif one.alarm.standing:
                assert one.alarm.priority >= before
                before = one.alarm.priority


@_SOME
@given(worlds())
def test_what_is_shown_under_another_is_never_told(world: World) -> None:
    watch = watched_at_once(world)
    for one in watch.transitions:
        if one.alarm.under is not None:
            assert not one.told
            assert one.alarm.standing
    for alarm in watch.alarms.values():
        if alarm.under is not None:
            assert watch.alarms[alarm.under].under is None


@_SOME
@given(worlds())
def test_who_acknowledged_is_kept_and_nobody_else_does(world: World) -> None:
    for one in watched_at_once(world).transitions:
        if one.alarm.state is State.ACKNOWLEDGED and one.before is State.UNACKNOWLEDGED:
            assert (one.cause, one.who) == (Cause.ACKNOWLEDGED, "Ana")


@_SOME
@given(worlds(asked=False))
def test_calls_that_may_be_withheld_never_come_faster_than_a_flood(world: World) -> None:
    urgent = (Kind.WARM_SIDE_LOW, Kind.TOO_HOT, Kind.SEVERAL_COOLING)
    calls = [
        t.at_ms
        for t in watched_at_once(world).transitions
        if t.told and t.cause.calls and t.alarm.key != FLOOD
        and not (t.alarm.key.kind in urgent and t.alarm.priority is Priority.HIGH)
    ]  # fmt: skip
    for first in calls:
        assert sum(first <= at < first + FLOOD_MS for at in calls) <= FLOOD_ALARMS
