"""The alarm rules: pure. A snapshot and the alarms as they stand → the alarms as they are now.

"Warm side low" is judged along the readings' own times, one after another, so that it comes out
the same however often and however late it is evaluated. "No readings" is judged by the clock.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from analysis.watch.rule_figures import Rules
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

# ---- what the rules are told ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WarmSide:
    """The warm side of an enclosure in which a warm-side probe is placed now.

    `points` are (time in ms, °C) in time order: the zone's value at each reading. `digesting` are
    all windows that may matter there.
    """

    enclosure: str
    points: Sequence[tuple[int, float]] = ()
    digesting: tuple[Digesting, ...] = ()


@dataclass(frozen=True, slots=True)
class PlacedProbe:
    """A probe that is placed now: `heard_ms` is the time of its last usable temperature."""

    probe: str
    enclosure: str
    zone: Zone
    placed_ms: int
    heard_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that the rules are told. `watching_since_ms`: a silence before it is nobody's fault."""

    warm_sides: Sequence[WarmSide] = ()
    probes: Sequence[PlacedProbe] = ()
    watching_since_ms: int = 0


@dataclass(frozen=True, slots=True)
class Evaluation:
    """The alarms as they are now, and how they came to be so, in the order it happened."""

    alarms: dict[AlarmKey, Alarm]
    transitions: list[Transition] = field(default_factory=list)


def evaluate(
    snapshot: Snapshot, alarms: Mapping[AlarmKey, Alarm], rules: Rules, now_ms: int
) -> Evaluation:
    """Judge the snapshot at `now_ms`. Points that an alarm's trail has judged are passed over."""
    result = Evaluation(dict(alarms))
    for warm_side in snapshot.warm_sides:
        _take(result, *_judge_warm_side(warm_side, alarms, rules))
    for probe in snapshot.probes:
        _take(result, *_judge_silence(probe, snapshot, alarms, rules, now_ms))
    watched = {_warm_side_key(w) for w in snapshot.warm_sides}
    watched |= {_silence_key(p) for p in snapshot.probes}
    for key, alarm in alarms.items():
        if key not in watched and alarm.standing:
            _take(result, *_withdraw(alarm, now_ms))
    result.transitions.sort(key=lambda transition: transition.at_ms)
    return result


def _take(result: Evaluation, alarm: Alarm, transitions: list[Transition]) -> None:
    result.alarms[alarm.key] = alarm
    result.transitions.extend(transitions)


def _withdraw(alarm: Alarm, now_ms: int) -> tuple[Alarm, list[Transition]]:
    after = replace(
        alarm,
        state=alarm.state.after_return,
        changed_ms=now_ms,
        trail=Trail(from_ms=max(now_ms, alarm.trail.seen_ms)),
    )
    return after, [Transition(Cause.WITHDRAWN, now_ms, alarm.state, after, over_ms=now_ms)]


# ---- warm side low --------------------------------------------------------------------------


def _warm_side_key(warm_side: WarmSide) -> AlarmKey:
    return AlarmKey(Kind.WARM_SIDE_LOW, warm_side.enclosure)


def _judge_warm_side(
    warm_side: WarmSide, alarms: Mapping[AlarmKey, Alarm], rules: Rules
) -> tuple[Alarm, list[Transition]]:
    key = _warm_side_key(warm_side)
    alarm = alarms.get(key, Alarm(key))
    transitions: list[Transition] = []
    for at_ms, value_c in warm_side.points:
        if at_ms <= alarm.trail.seen_ms:
            continue
        digesting = tuple(d for d in warm_side.digesting if d.at(at_ms))
        alarm = replace(alarm, trail=_follow(alarm.trail, at_ms, value_c, rules))
        for transition in _change(alarm, at_ms, value_c, digesting, rules):
            alarm = transition.alarm
            transitions.append(transition)
        if alarm.standing and alarm.lowest is not None and value_c < alarm.lowest:
            alarm = replace(alarm, lowest=value_c)
    return alarm, transitions


def _follow(trail: Trail, at_ms: int, value_c: float, rules: Rules) -> Trail:
    """The trail after one more value. After a gap nothing goes on: it is not known to have."""
    gap = trail.judged_ms is None or at_ms - trail.judged_ms > rules.gap_ms
    trail = Trail(trail.from_ms, at_ms) if gap else replace(trail, judged_ms=at_ms)
    if value_c < rules.setpoint_c:
        begins = trail.below_since_ms is None
        return replace(
            trail,
            below_since_ms=at_ms if begins else trail.below_since_ms,
            below_open=gap if begins else trail.below_open,
            lowest_c=value_c if trail.lowest_c is None else min(trail.lowest_c, value_c),
            back_since_ms=None,
        )
    back = at_ms if trail.back_since_ms is None else trail.back_since_ms
    is_back = value_c >= rules.setpoint_c + rules.deadband_k
    return Trail(trail.from_ms, at_ms, back_since_ms=back if is_back else None)


def _change(
    alarm: Alarm, at_ms: int, value_c: float, digesting: tuple[Digesting, ...], rules: Rules
) -> Iterator[Transition]:
    trail = alarm.trail
    if alarm.standing:
        back_ms = trail.back_since_ms
        if back_ms is not None and at_ms - back_ms >= rules.off_delay_ms:
            yield _cleared(alarm, at_ms, value_c, back_ms, digesting)
        elif trail.below_since_ms is not None and digesting and alarm.priority < Priority.HIGH:
            yield _escalated(alarm, at_ms, value_c, digesting)
        return
    delay_ms = rules.on_delay_digesting_ms if digesting else rules.on_delay_ms
    if trail.below_since_ms is not None and at_ms - trail.below_since_ms >= delay_ms:
        yield _raised(alarm, at_ms, value_c, digesting, rules)


def _raised(
    alarm: Alarm, at_ms: int, value_c: float, digesting: tuple[Digesting, ...], rules: Rules
) -> Transition:
    after = Alarm(
        key=alarm.key,
        state=State.UNACKNOWLEDGED,
        priority=Priority.HIGH if digesting else Priority.MEDIUM,
        since_ms=alarm.trail.below_since_ms,
        since_open=alarm.trail.below_open,
        raised_ms=at_ms,
        changed_ms=at_ms,
        setpoint=rules.setpoint_c,
        deadband=rules.deadband_k,
        value=value_c,
        lowest=alarm.trail.lowest_c,
        trail=alarm.trail,
    )
    return Transition(Cause.RAISED, at_ms, alarm.state, after, value_c, digesting=digesting)


def _escalated(
    alarm: Alarm, at_ms: int, value_c: float, digesting: tuple[Digesting, ...]
) -> Transition:
    """More urgent: it asks for an answer again, also of who has acknowledged it."""
    after = replace(alarm, state=State.UNACKNOWLEDGED, priority=Priority.HIGH, changed_ms=at_ms)
    return Transition(Cause.ESCALATED, at_ms, alarm.state, after, value_c, digesting=digesting)


def _cleared(
    alarm: Alarm, at_ms: int, value_c: float, back_ms: int, digesting: tuple[Digesting, ...]
) -> Transition:
    after = replace(alarm, state=alarm.state.after_return, changed_ms=at_ms)
    return Transition(Cause.CLEARED, at_ms, alarm.state, after, value_c, back_ms, digesting)


# ---- no readings ----------------------------------------------------------------------------


def _silence_key(probe: PlacedProbe) -> AlarmKey:
    return AlarmKey(Kind.NO_READINGS, probe.enclosure, probe.probe)


def _judge_silence(
    probe: PlacedProbe,
    snapshot: Snapshot,
    alarms: Mapping[AlarmKey, Alarm],
    rules: Rules,
    now_ms: int,
) -> tuple[Alarm, list[Transition]]:
    key = _silence_key(probe)
    alarm = alarms.get(key, Alarm(key))
    last_ms = max(probe.placed_ms, probe.heard_ms or probe.placed_ms)
    if alarm.standing:
        if probe.heard_ms is None or now_ms - probe.heard_ms > rules.silence_ms:
            return alarm, []
        after = replace(alarm, state=alarm.state.after_return, changed_ms=now_ms)
        return after, [
            Transition(Cause.CLEARED, now_ms, alarm.state, after, over_ms=probe.heard_ms)
        ]
    if now_ms - max(last_ms, snapshot.watching_since_ms) <= rules.silence_ms:
        return alarm, []
    after = Alarm(
        key=key,
        state=State.UNACKNOWLEDGED,
        priority=Priority.MEDIUM if probe.zone is Zone.WARM_SIDE else Priority.LOW,
        since_ms=last_ms,
        raised_ms=now_ms,
        changed_ms=now_ms,
        setpoint=rules.silence_ms / MINUTE_MS,
        value=(now_ms - last_ms) / MINUTE_MS,
        trail=alarm.trail,
    )
    return after, [Transition(Cause.RAISED, now_ms, alarm.state, after, after.value)]
