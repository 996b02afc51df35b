"""One value against setpoints: the judge that serves every threshold rule. Pure.

Terms of ISA-18.2: setpoint, deadband, on-delay, off-delay, priority. A rule has one step or
several: a farther setpoint, or a shorter on-delay after a meal, each with its own priority. It is
judged along the readings' own times, one after another, so that it comes out the same however
often and however late it is evaluated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from analysis.watch.states import Alarm, Cause, Digesting, Priority, State, Trail, Transition


class Side(Enum):
    """On which side of the setpoint the fault lies."""

    BELOW = -1
    ABOVE = 1

    def beyond(self, value: float, setpoint: float) -> bool:
        """True when the value is on the wrong side of the setpoint."""
        return (value - setpoint) * self.value > 0

    def further(self, one: float, other: float | None) -> float:
        """The more extreme of two values."""
        if other is None:
            return one
        return max(one, other) if self is Side.ABOVE else min(one, other)


@dataclass(frozen=True, slots=True)
class Step:
    """One setpoint. `meal_within_ms`: it holds only so long after the meal of an animal there."""

    setpoint: float
    on_delay_ms: int
    priority: Priority
    meal_within_ms: int | None = None

    def applies(self, digesting: Sequence[Digesting], at_ms: int) -> bool:
        """True when the step holds at that moment."""
        within_ms = self.meal_within_ms
        return within_ms is None or any(at_ms - d.taken_ms < within_ms for d in digesting)


@dataclass(frozen=True, slots=True)
class Threshold:
    """A rule: its steps, the mildest first, whose setpoint is the one to come back to.

    `latched_ms` is the off-delay of an alarm that is held for chattering. After a gap longer than
    `gap_ms` nothing goes on: it is not known to have.
    """

    side: Side
    steps: tuple[Step, ...]
    deadband: float
    off_delay_ms: int
    latched_ms: int
    gap_ms: int

    @property
    def setpoint(self) -> float:
        """The mildest setpoint."""
        return self.steps[0].setpoint

    @property
    def longest_ms(self) -> int:
        """The longest of its delays."""
        return max(self.off_delay_ms, self.latched_ms, *(s.on_delay_ms for s in self.steps))


def follow(trail: Trail, at_ms: int, value: float, rule: Threshold) -> Trail:
    """The trail after one more value."""
    gap = trail.judged_ms is None or at_ms - trail.judged_ms > rule.gap_ms
    if gap:
        trail = replace(trail, beyond_ms=(), beyond_open=False, furthest=None, back_ms=None)
    before = trail.beyond_ms or (None,) * len(rule.steps)
    beyond = tuple(
        (at_ms if since is None else since) if rule.side.beyond(value, step.setpoint) else None
        for since, step in zip(before, rule.steps, strict=True)
    )
    if beyond[0] is None:
        back_ms = at_ms if trail.back_ms is None else trail.back_ms
        is_back = not rule.side.beyond(value, rule.setpoint - rule.side.value * rule.deadband)
        return trail.judged(at_ms, beyond, back_ms=back_ms if is_back else None)
    return trail.judged(
        at_ms,
        beyond,
        beyond_open=gap if before[0] is None else trail.beyond_open,
        furthest=rule.side.further(value, trail.furthest),
    )


def step_met(
    trail: Trail, at_ms: int, digesting: Sequence[Digesting], rule: Threshold
) -> Step | None:
    """The most urgent step whose on-delay has passed."""
    met = [
        step
        for step, since_ms in zip(rule.steps, trail.beyond_ms, strict=False)
        if since_ms is not None
        and at_ms - since_ms >= step.on_delay_ms
        and step.applies(digesting, at_ms)
    ]
    return max(met, key=lambda step: step.priority, default=None)


def change(
    alarm: Alarm, at_ms: int, value: float, digesting: tuple[Digesting, ...], rule: Threshold
) -> Transition | None:
    """What the value that was followed last leads to. `digesting`: who does so there then."""
    trail = alarm.trail
    met = step_met(trail, at_ms, digesting, rule)
    if not alarm.standing:
        return _raised(alarm, at_ms, value, digesting, rule=rule, met=met) if met else None
    if alarm.foretold_ms is not None:
        return _escalated(alarm, at_ms, value, digesting, met) if met else None
    off_delay_ms = rule.latched_ms if alarm.latched else rule.off_delay_ms
    if trail.back_ms is not None and at_ms - trail.back_ms >= off_delay_ms:
        after = replace(alarm, state=alarm.state.after_return, changed_ms=at_ms)
        before = alarm.state
        return Transition(Cause.CLEARED, at_ms, before, after, value, trail.back_ms, digesting)
    if met and met.priority > alarm.priority:
        return _escalated(alarm, at_ms, value, digesting, met)
    return None


def with_furthest(alarm: Alarm, value: float, rule: Threshold) -> Alarm:
    """The alarm with its most extreme value kept up to date while it stands."""
    if not alarm.standing or alarm.foretold_ms is not None:
        return alarm
    furthest = rule.side.further(value, alarm.lowest)
    return alarm if furthest == alarm.lowest else replace(alarm, lowest=furthest)


def _raised(
    alarm: Alarm,
    at_ms: int,
    value: float,
    digesting: tuple[Digesting, ...],
    *,
    rule: Threshold,
    met: Step,
) -> Transition:
    after = Alarm(
        key=alarm.key,
        state=State.UNACKNOWLEDGED,
        priority=met.priority,
        since_ms=alarm.trail.beyond_ms[0],
        since_open=alarm.trail.beyond_open,
        raised_ms=at_ms,
        changed_ms=at_ms,
        setpoint=rule.setpoint,
        deadband=rule.deadband,
        value=value,
        lowest=alarm.trail.furthest,
        shelved_until_ms=alarm.shelved_until_ms,
        trail=alarm.trail,
    )
    return Transition(Cause.RAISED, at_ms, alarm.state, after, value, digesting=digesting)


def _escalated(
    alarm: Alarm, at_ms: int, value: float, digesting: tuple[Digesting, ...], met: Step
) -> Transition:
    """More urgent: it asks for an answer again, also of who has acknowledged it."""
    trail = alarm.trail
    after = replace(
        alarm,
        state=State.UNACKNOWLEDGED,
        priority=max(met.priority, alarm.priority),
        changed_ms=at_ms,
    )
    if alarm.foretold_ms is not None:  # what was foretold has come
        after = replace(
            after, foretold_ms=None, since_ms=trail.beyond_ms[0], since_open=trail.beyond_open,
            value=value, lowest=trail.furthest,
        )  # fmt: skip
    return Transition(Cause.ESCALATED, at_ms, alarm.state, after, value, digesting=digesting)
