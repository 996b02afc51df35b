"""The alarm rules: pure. A snapshot and the alarms as they stand → the alarms as they are now.

Readings, looks and requests are taken in the order of their own times, whatever they belong to, so
that it comes out the same however often and however late it is evaluated. What is judged by the
clock comes last.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from analysis.watch.requests import Request
from analysis.watch.rule_figures import Rules
from analysis.watch.rules_answers import answer
from analysis.watch.rules_causes import HOME_CAUSES
from analysis.watch.rules_falling import Look, change_by_fall, follow_fall, with_forecast
from analysis.watch.rules_run import Run
from analysis.watch.rules_silence import judge_silence
from analysis.watch.rules_snapshot import (
    Evaluation,
    Memory,
    PlacedProbe,
    Series,
    Snapshot,
    SourceState,
)
from analysis.watch.rules_threshold import change, follow, with_furthest
from analysis.watch.rules_together import judge_together
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Transition

__all__ = [
    "Evaluation", "Memory", "PlacedProbe", "Series", "Snapshot", "SourceState", "evaluate",
]  # fmt: skip

_Event = tuple[int, int, int, Callable[[], None]]
_ALWAYS_WATCHED = (HOME_CAUSES - {Kind.LINE_AWAY, Kind.BROKER_AWAY}) | {Kind.FLOOD}


def evaluate(
    snapshot: Snapshot,
    alarms: Mapping[AlarmKey, Alarm],
    rules: Rules,
    now_ms: int,
    *,
    requests: Sequence[Request] = (),
    memory: Memory | None = None,
) -> Evaluation:
    """Judge the snapshot at `now_ms`. Points that an alarm's trail has judged are passed over."""
    run = Run(snapshot, alarms, rules, memory or Memory(), now_ms)
    for at_ms, _, _, happen in heapq.merge(*_streams(run, requests)):
        run.due(at_ms)
        happen()
    run.due(now_ms)
    judge_silence(run)
    _withdraw_unwatched(run)
    settled = tuple(request.number for request in requests)
    return Evaluation(run.alarms, run.transitions, run.memory, settled)


def _streams(run: Run, requests: Sequence[Request]) -> Iterator[Iterable[_Event]]:
    yield sorted(_asked(run, requests), key=lambda event: event[:3])
    for index, series in enumerate(run.snapshot.series):
        yield _points(run, series, index)
        if series.looks:
            yield _looks(run, series, index)


def _asked(run: Run, requests: Sequence[Request]) -> Iterator[_Event]:
    for request in requests:
        at_ms = min(request.at_ms, run.now_ms)
        yield at_ms, 0, request.number, _bound(answer, run, request, at_ms)


def _points(run: Run, series: Series, index: int) -> Iterator[_Event]:
    for at_ms, value in series.points:
        yield at_ms, 1, index, _bound(_judge_point, run, series.key, at_ms, value)


def _looks(run: Run, series: Series, index: int) -> Iterator[_Event]:
    for look in series.looks:
        yield look.at_ms, 2, index, _bound(_judge_look, run, series.key, look)


def _bound(work: Callable[..., None], *args: object) -> Callable[[], None]:
    return lambda: work(*args)


# ---- one value, one look --------------------------------------------------------------------


def _judge_point(run: Run, key: AlarmKey, at_ms: int, value: float) -> None:
    alarm = run.alarm(key)
    if alarm.out_of_service or at_ms <= alarm.trail.seen_ms:
        return
    rule = run.rules.threshold(key.kind, key.enclosure)
    alarm = alarm.followed(follow(alarm.trail, at_ms, value, rule))
    if not alarm.trail.settled(at_ms):
        transition = change(alarm, at_ms, value, run.digesting(key, at_ms), rule)
        if transition is not None:
            run.emit(transition)
            alarm = run.alarm(key)
        alarm = with_furthest(alarm, value, rule)
    run.put(alarm)


def _judge_look(run: Run, key: AlarmKey, look: Look) -> None:
    alarm = run.alarm(key)
    fall = alarm.trail.fall
    if alarm.out_of_service or (fall.look_ms is not None and look.at_ms <= fall.look_ms):
        return
    rule = run.rules.of(key.enclosure).falling
    alarm = alarm.followed(follow_fall(alarm.trail, look, rule))
    alarm = with_forecast(alarm, look)
    run.put(alarm)
    judge_together(run, look.at_ms)
    alarm = run.alarm(key)
    if not alarm.trail.settled(look.at_ms):
        transition = change_by_fall(alarm, look, run.digesting(key, look.at_ms), rule)
        if transition is not None:
            run.emit(transition)


# ---- what is watched no more ----------------------------------------------------------------


def _withdraw_unwatched(run: Run) -> None:
    watched = {series.key for series in run.snapshot.series}
    watched |= {probe.silence_key for probe in run.snapshot.probes}
    watched |= {source.key for source in run.snapshot.sources or ()}
    for key, alarm in list(run.alarms.items()):
        unknown = key.kind in (Kind.LINE_AWAY, Kind.BROKER_AWAY) and run.snapshot.sources is None
        always = key.kind in _ALWAYS_WATCHED or key.kind in run.rules.home
        if key not in watched and not always and not unknown and alarm.standing:
            _withdraw(run, alarm)


def _withdraw(run: Run, alarm: Alarm) -> None:
    now_ms = run.now_ms
    after = replace(
        alarm,
        state=alarm.state.after_return,
        changed_ms=now_ms,
        trail=replace(Alarm(alarm.key).trail, from_ms=max(now_ms, alarm.trail.seen_ms)),
    )
    run.emit(Transition(Cause.WITHDRAWN, now_ms, alarm.state, after, over_ms=now_ms))
