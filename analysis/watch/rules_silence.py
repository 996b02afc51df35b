"""Silence, judged by the clock: of a probe, of several at once, of the collector and what it
listens to. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.watch.rule_figures import GATHER_MS
from analysis.watch.rules_causes import cause_of
from analysis.watch.rules_run import Run
from analysis.watch.rules_snapshot import PlacedProbe
from analysis.watch.states import (
    MINUTE_MS,
    Alarm,
    AlarmKey,
    Cause,
    Kind,
    Priority,
    State,
    Transition,
)
from collector.book.records import Zone

COLLECTOR = AlarmKey(Kind.COLLECTOR_SILENT)
SEVERAL_SILENT = AlarmKey(Kind.SEVERAL_SILENT)


def judge_silence(run: Run) -> None:
    """All silences, the causes before what follows from them."""
    _judge_sources(run)
    _judge_collector(run)
    _judge_several(run)
    for probe in run.snapshot.probes:
        _judge_probe(run, probe)


# ---- what the collector listens to ----------------------------------------------------------


def _judge_sources(run: Run) -> None:
    for source in run.snapshot.sources or ():
        alarm = run.alarm(source.key)
        away_ms = run.now_ms - max(source.since_ms, run.snapshot.watching_since_ms)
        gone = not source.connected and run.snapshot.collector_ended is not True
        if alarm.standing and source.connected:
            _clear(run, alarm, source.since_ms)
        elif not alarm.standing and gone and away_ms > run.rules.away_ms:
            _raise(run, alarm, source.since_ms, Priority.HIGH, limit_ms=run.rules.away_ms)


# ---- the collector --------------------------------------------------------------------------


def _judge_collector(run: Run) -> None:
    probes, ended = run.snapshot.probes, run.snapshot.collector_ended
    alarm = run.alarm(COLLECTOR)
    if not probes:
        return
    newest_ms = max(_newest_ms(p) for p in probes)
    quiet_ms = run.now_ms - max(newest_ms, run.snapshot.watching_since_ms)
    if alarm.standing:
        if run.now_ms - newest_ms <= run.rules.collector_ms and not ended:
            _clear(run, alarm, newest_ms)
        return
    # While its process lives, something else is silent; and one probe alone may be just that.
    suspect = ended or (ended is None and len(probes) > 1)
    if suspect and quiet_ms > run.rules.collector_ms:
        _raise(run, alarm, newest_ms, Priority.HIGH, limit_ms=run.rules.collector_ms)


# ---- several probes at once -----------------------------------------------------------------


def _judge_several(run: Run) -> None:
    """Probes that fell silent together have one cause: a line, a node, a radio, a plug."""
    alarm = run.alarm(SEVERAL_SILENT)
    if alarm.standing:
        keys = [p.silence_key for p in run.snapshot.probes]
        under = [k for k in keys if run.alarm(k).standing and run.alarm(k).under == alarm.key]
        if len(under) < 2:
            _clear(run, alarm, run.now_ms)
        return
    together = _silent_together(run)
    if len(together) < 2:
        return
    matters = any(probe.zone is Zone.WARM_SIDE for probe in together)
    names = tuple(sorted({probe.enclosure for probe in together}))
    _raise(
        run, alarm, min(map(_last_ms, together)),
        Priority.MEDIUM if matters else Priority.LOW,
        limit_ms=run.rules.silence_ms, names=names,
    )  # fmt: skip


def _silent_together(run: Run) -> Sequence[PlacedProbe]:
    """The probes that fell silent with one whose silence is to be raised now, itself included."""
    free = [p for p in run.snapshot.probes if _unexplained(run, p)]
    for first in free:
        if _silent_ms(run, first) > run.rules.silence_ms:
            return [
                p for p in free
                if abs(_last_ms(p) - _last_ms(first)) <= GATHER_MS
                and _silent_ms(run, p) > run.rules.silence_ms - GATHER_MS
            ]  # fmt: skip
    return []


def _unexplained(run: Run, probe: PlacedProbe) -> bool:
    alarm = run.alarm(probe.silence_key)
    if alarm.standing or alarm.out_of_service:
        return False
    fresh = replace(alarm, since_ms=_last_ms(probe))
    return cause_of(fresh, run.alarms, run.rules) is None


# ---- one probe ------------------------------------------------------------------------------


def _judge_probe(run: Run, probe: PlacedProbe) -> None:
    alarm = run.alarm(probe.silence_key)
    reports = probe.heard_ms is not None and run.now_ms - probe.heard_ms <= run.rules.silence_ms
    back_ms = (alarm.trail.back_ms or probe.heard_ms) if reports else None
    if back_ms != alarm.trail.back_ms:
        alarm = replace(alarm, trail=replace(alarm.trail, back_ms=back_ms))
        run.put(alarm)
    if alarm.standing:
        if back_ms is not None and (not alarm.latched or run.now_ms - back_ms >= _held_ms(run)):
            _clear(run, alarm, back_ms)
        return
    if _silent_ms(run, probe) > run.rules.silence_ms:
        priority = Priority.MEDIUM if probe.zone is Zone.WARM_SIDE else Priority.LOW
        _raise(run, alarm, _last_ms(probe), priority, limit_ms=run.rules.silence_ms)


def _held_ms(run: Run) -> int:
    return run.rules.home[Kind.CLOCK_UNSURE].latched_ms


def _last_ms(probe: PlacedProbe) -> int:
    heard_ms = probe.heard_ms
    return probe.placed_ms if heard_ms is None else max(probe.placed_ms, heard_ms)


def _newest_ms(probe: PlacedProbe) -> int:
    newest_ms = probe.heard_ms if probe.newest_ms is None else probe.newest_ms
    return probe.placed_ms if newest_ms is None else max(probe.placed_ms, newest_ms)


def _silent_ms(run: Run, probe: PlacedProbe) -> int:
    return run.now_ms - max(_last_ms(probe), run.snapshot.watching_since_ms)


# ---- both -----------------------------------------------------------------------------------


def _raise(
    run: Run,
    alarm: Alarm,
    since_ms: int,
    priority: Priority,
    *,
    limit_ms: int,
    names: tuple[str, ...] = (),
) -> None:
    if alarm.out_of_service:
        return
    now_ms = run.now_ms
    after = Alarm(
        key=alarm.key,
        state=State.UNACKNOWLEDGED,
        priority=priority,
        since_ms=since_ms,
        raised_ms=now_ms,
        changed_ms=now_ms,
        setpoint=limit_ms / MINUTE_MS,
        value=(now_ms - since_ms) / MINUTE_MS,
        shelved_until_ms=alarm.shelved_until_ms,
        trail=alarm.trail,
    )
    digesting = run.digesting(alarm.key, now_ms)
    run.emit(
        Transition(Cause.RAISED, now_ms, alarm.state, after, after.value,
                   digesting=digesting, names=names)
    )  # fmt: skip


def _clear(run: Run, alarm: Alarm, over_ms: int) -> None:
    after = replace(alarm, state=alarm.state.after_return, changed_ms=run.now_ms)
    run.emit(Transition(Cause.CLEARED, run.now_ms, alarm.state, after, over_ms=over_ms))
