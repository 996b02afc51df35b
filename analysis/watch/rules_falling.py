"""A warm side that falls, before it is low: pure. The looks at it come from the forecast.

It is the alarm "warm side low", raised early: what is foretold and what has come are one fault.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.watch.states import (
    Alarm,
    Cause,
    Digesting,
    FallTrail,
    Priority,
    State,
    Trail,
    Transition,
)


@dataclass(frozen=True, slots=True)
class Look:
    """One look at a warm side: what it reads, when its fall began (None: it does not fall), and
    when it will pass the floor (None: that cannot be said)."""

    at_ms: int
    value_c: float
    began_ms: int | None = None
    floor_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Falling:
    """The figures of the rule. After a pause longer than `gap_ms` between looks nothing goes on."""

    floor_c: float
    deadband_k: float
    on_delay_ms: int
    off_delay_ms: int
    gap_ms: int


def follow_fall(trail: Trail, look: Look, rule: Falling) -> Trail:
    """The trail after one more look."""
    fall = trail.fall
    if fall.look_ms is None or look.at_ms - fall.look_ms > rule.gap_ms:
        fall = FallTrail()
    foretold, falls = look.floor_ms is not None, look.began_ms is not None
    fall = FallTrail(
        look_ms=look.at_ms,
        foretold_from_ms=_goes_on(fall.foretold_from_ms, look.at_ms) if foretold else None,
        quiet_from_ms=None if foretold else _goes_on(fall.quiet_from_ms, look.at_ms),
        cooling_from_ms=_goes_on(fall.cooling_from_ms, look.at_ms) if falls else None,
        began_ms=look.began_ms,
    )
    return replace(trail, fall=fall)


def change_by_fall(
    alarm: Alarm, look: Look, digesting: tuple[Digesting, ...], rule: Falling
) -> Transition | None:
    """What the look that was followed last leads to."""
    fall, at_ms = alarm.trail.fall, look.at_ms
    if not alarm.standing:
        from_ms = fall.foretold_from_ms
        if from_ms is None or at_ms - from_ms < rule.on_delay_ms or alarm.trail.beyond:
            return None
        return _raised(alarm, look, digesting, rule)
    if alarm.foretold_ms is None or alarm.trail.beyond:
        return None  # it is low, or about to be
    if fall.quiet_from_ms is not None and at_ms - fall.quiet_from_ms >= rule.off_delay_ms:
        after = replace(alarm, state=alarm.state.after_return, changed_ms=at_ms, value=look.value_c)
        over_ms = fall.quiet_from_ms
        return Transition(
            Cause.CLEARED, at_ms, alarm.state, after, look.value_c, over_ms, digesting
        )
    if digesting and alarm.priority < Priority.MEDIUM:
        after = replace(
            alarm, state=State.UNACKNOWLEDGED, priority=Priority.MEDIUM, changed_ms=at_ms
        )
        return Transition(
            Cause.ESCALATED, at_ms, alarm.state, after, look.value_c, digesting=digesting
        )
    return None


def with_forecast(alarm: Alarm, look: Look) -> Alarm:
    """The alarm with what is foretold kept up to date."""
    if alarm.standing and alarm.foretold_ms is not None and look.floor_ms is not None:
        return replace(alarm, foretold_ms=look.floor_ms)
    return alarm


def _goes_on(since_ms: int | None, at_ms: int) -> int:
    return at_ms if since_ms is None else since_ms


def _raised(
    alarm: Alarm, look: Look, digesting: tuple[Digesting, ...], rule: Falling
) -> Transition:
    after = Alarm(
        key=alarm.key,
        state=State.UNACKNOWLEDGED,
        priority=Priority.MEDIUM if digesting else Priority.LOW,
        since_ms=look.began_ms if look.began_ms is not None else look.at_ms,
        raised_ms=look.at_ms,
        changed_ms=look.at_ms,
        setpoint=rule.floor_c,
        deadband=rule.deadband_k,
        value=look.value_c,
        lowest=look.value_c,
        foretold_ms=look.floor_ms,
        shelved_until_ms=alarm.shelved_until_ms,
        trail=alarm.trail,
    )
    return Transition(
        Cause.RAISED, look.at_ms, alarm.state, after, look.value_c, digesting=digesting
    )
