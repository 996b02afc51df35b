"""What an alarm is, in the terms of ISA-18.2 / IEC 62682: its states, its priority, its changes.

An alarm is an indication that requires a response. Frozen; the rules make new ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


class Kind(StrEnum):
    """What is wrong."""

    WARM_SIDE_LOW = "warm side low"
    """The warm side of an enclosure is below its setpoint."""
    NO_READINGS = "no readings"
    """A placed probe has given no usable temperature for a while."""


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    """Back to normal, and never acknowledged."""

    @property
    def standing(self) -> bool:
        """True while the condition that raised the alarm lasts."""
        return self in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)

    @property
    def after_return(self) -> State:
        """The state once the condition has gone."""
        return State.NORMAL if self is State.ACKNOWLEDGED else State.RETURNED


class Priority(IntEnum):
    """How soon someone has to do something."""

    LOW = 1
    MEDIUM = 2
    HIGH = 3


class Cause(StrEnum):
    """Why an alarm changed."""

    RAISED = "raised"
    ESCALATED = "escalated"
    """It stands already and became more urgent."""
    CLEARED = "cleared"
    """The condition has gone."""
    WITHDRAWN = "withdrawn"
    """Nothing watches the condition any more: the probe was taken away."""


@dataclass(frozen=True, slots=True)
class AlarmKey:
    """One alarm: its kind and place. `probe` is None for an alarm of a whole enclosure."""

    kind: Kind
    enclosure: str
    probe: str | None = None


@dataclass(frozen=True, slots=True)
class Trail:
    """What the rules carry from one evaluation to the next.

    It is not stored: it is found again from the readings after `from_ms`. `judged_ms` is the last
    moment that was judged, `below_since_ms` and `back_since_ms` the beginning of the stretch
    below the setpoint, or back above the deadband, that goes on at that moment; `lowest_c` the
    lowest value of the stretch below. `below_open`: it may have begun earlier.
    """

    from_ms: int
    judged_ms: int | None = None
    below_since_ms: int | None = None
    below_open: bool = False
    lowest_c: float | None = None
    back_since_ms: int | None = None

    @property
    def seen_ms(self) -> int:
        """Everything up to and including this moment has been judged."""
        return self.from_ms if self.judged_ms is None else self.judged_ms


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm as it stands.

    `since_ms` is when the condition began (`since_open`: or earlier), `raised_ms` when the
    on-delay had passed. `setpoint`, `deadband`, `value` (at raising) and `lowest` are in °C; for
    "no readings", `setpoint` and `value` are minutes of silence.
    """

    key: AlarmKey
    state: State = State.NORMAL
    priority: Priority = Priority.MEDIUM
    since_ms: int | None = None
    since_open: bool = False
    raised_ms: int | None = None
    changed_ms: int | None = None
    setpoint: float | None = None
    deadband: float | None = None
    value: float | None = None
    lowest: float | None = None
    trail: Trail = field(default=Trail(from_ms=0), compare=False)

    @property
    def standing(self) -> bool:
        """True while the condition lasts."""
        return self.state.standing


@dataclass(frozen=True, slots=True)
class Digesting:
    """An animal whose meal is in its window, over [start_ms, end_ms) in one enclosure."""

    animal: str
    prey: str
    taken_ms: int
    start_ms: int
    end_ms: int

    def at(self, at_ms: int) -> bool:
        """True when it is digesting there at that moment."""
        return self.start_ms <= at_ms < self.end_ms


@dataclass(frozen=True, slots=True)
class Transition:
    """One change of one alarm: `alarm` is the alarm after it.

    `at_ms` is when it came about: the time of the reading that decided it, or of the clock for a
    silence. `value` is the value then, `over_ms` when the condition ended (None while it lasts).
    """

    cause: Cause
    at_ms: int
    before: State
    alarm: Alarm
    value: float | None = None
    over_ms: int | None = None
    digesting: tuple[Digesting, ...] = ()
