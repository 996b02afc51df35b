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
    """The warm side of an enclosure is below its setpoint, or will soon be."""
    TOO_HOT = "too hot"
    """The warm side of an enclosure is above what the animal can use."""
    COOL_SIDE_WARM = "cool side too warm"
    """There is no retreat from the heat."""
    HUMIDITY_LOW = "humidity low"
    HUMIDITY_HIGH = "humidity high"
    NO_READINGS = "no readings"
    """A placed probe has given no usable temperature for a while."""
    PROBE_DOUBTED = "probe doubted"
    """Most readings of a probe fail the plausibility check."""
    PROBE_STUCK = "probe stuck"
    """A probe says the same for hours while others move."""
    PROBES_DISAGREE = "probes disagree"
    """The probes of one zone are far apart; the key's probe is the zone."""
    SEVERAL_COOLING = "several enclosures cooling"
    SEVERAL_SILENT = "several probes silent"
    COLLECTOR_SILENT = "collector silent"
    """No probe at all reports, or the collector is known to have ended."""
    BROKER_AWAY = "broker away"
    LINE_AWAY = "line away"
    """A serial line, or the board's own probes; the key's probe is the collector's source."""
    NOT_WRITTEN = "readings not written"
    """The collector cannot write what it receives."""
    CARD_FILLING = "card filling"
    CLOCK_UNSURE = "clock unsure"
    FLOOD = "alarm flood"
    """More alarms in a short time than a person can take in."""


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
    GATHERED = "gathered"
    """It follows from another alarm, and is shown under it from now on."""
    SURFACED = "surfaced"
    """What it followed from has gone, and it stands still: it speaks for itself now."""
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    """The shelving has ended. Where the condition lasts, the alarm asks for an answer anew."""
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"

    @property
    def by_rule(self) -> bool:
        """True where the readings or the clock brought it about, not a keeper."""
        return self in _BY_RULE

    @property
    def calls(self) -> bool:
        """True where it calls for an answer."""
        return self in (Cause.RAISED, Cause.ESCALATED, Cause.SURFACED, Cause.UNSHELVED)


_BY_RULE = frozenset({Cause.RAISED, Cause.ESCALATED, Cause.CLEARED, Cause.WITHDRAWN})


@dataclass(frozen=True, slots=True)
class AlarmKey:
    """One alarm: its kind and place. `enclosure` is empty for an alarm of the home itself.

    `probe` is None for an alarm of a whole enclosure; where a kind says so, a zone or a source.
    """

    kind: Kind
    enclosure: str = ""
    probe: str | None = None


@dataclass(frozen=True, slots=True)
class FallTrail:
    """How a warm side has been falling, as the looks at it (`look_ms` the last) found it.

    `foretold_from_ms` is the first of the looks in a row that foretold when it passes the floor,
    `quiet_from_ms` the first of those that did not; `cooling_from_ms` the first that found it
    falling at all, and `began_ms` when that fall began.
    """

    look_ms: int | None = None
    foretold_from_ms: int | None = None
    quiet_from_ms: int | None = None
    cooling_from_ms: int | None = None
    began_ms: int | None = None


NO_FALL = FallTrail()
"""Nothing is known of a fall."""


@dataclass(frozen=True, slots=True)
class Trail:
    """What the rules carry from one evaluation to the next.

    It is not stored: it is found again from the readings after `from_ms`, and what they led to up
    to `settled_ms` is not done again. `judged_ms` is the last moment that was judged. `beyond_ms`
    holds, for each step of the rule, the beginning of the stretch beyond its setpoint that goes on
    at that moment (`beyond_open`: it may have begun earlier; `furthest`: its most extreme value),
    `back_ms` that of the stretch back inside the deadband.
    """

    from_ms: int
    settled_ms: int | None = None
    judged_ms: int | None = None
    beyond_ms: tuple[int | None, ...] = ()
    beyond_open: bool = False
    furthest: float | None = None
    back_ms: int | None = None
    fall: FallTrail = NO_FALL

    @property
    def seen_ms(self) -> int:
        """Everything up to and including this moment has been judged."""
        return self.from_ms if self.judged_ms is None else self.judged_ms

    @property
    def beyond(self) -> bool:
        """True while the value is beyond the mildest setpoint."""
        return bool(self.beyond_ms) and self.beyond_ms[0] is not None

    def judged(
        self,
        at_ms: int,
        beyond_ms: tuple[int | None, ...],
        *,
        beyond_open: bool = False,
        furthest: float | None = None,
        back_ms: int | None = None,
    ) -> Trail:
        """The trail after the value of that moment. Made for every reading, so made directly."""
        return Trail(
            self.from_ms, self.settled_ms, at_ms, beyond_ms, beyond_open, furthest, back_ms,
            self.fall,
        )  # fmt: skip

    def settled(self, at_ms: int) -> bool:
        """True when what that moment led to was done before."""
        return self.settled_ms is not None and at_ms <= self.settled_ms


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm as it stands.

    `since_ms` is when the condition began (`since_open`: or earlier), `raised_ms` when the
    on-delay had passed. `setpoint`, `deadband`, `value` (at raising) and `lowest` (the furthest
    value; the highest, where too much is the fault) are in the unit of the kind: °C, %RH, K apart,
    MB free, minutes of silence, a share of readings.

    `foretold_ms`: it is not low yet, and would pass the floor then. `latched`: it came and went so
    often that it is held until it has been quiet for longer. `under`: the alarm that it follows
    from, and under which it is shown.
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
    foretold_ms: int | None = None
    latched: bool = False
    shelved_until_ms: int | None = None
    out_of_service: bool = False
    under: AlarmKey | None = None
    trail: Trail = field(default=Trail(from_ms=0), compare=False)

    def followed(self, trail: Trail) -> Alarm:
        """The alarm as it is, with its trail after one more reading. Made directly, as that is."""
        return Alarm(
            self.key, self.state, self.priority, self.since_ms, self.since_open, self.raised_ms,
            self.changed_ms, self.setpoint, self.deadband, self.value, self.lowest,
            self.foretold_ms, self.latched, self.shelved_until_ms, self.out_of_service,
            self.under, trail,
        )  # fmt: skip

    @property
    def standing(self) -> bool:
        """True while the condition lasts."""
        return self.state.standing

    @property
    def shown_state(self) -> str:
        """The state in the words of ISA-18.2; shelved and out of service go before the others."""
        if self.out_of_service:
            return "out of service"
        return "shelved" if self.shelved_until_ms is not None else self.state.value

    @property
    def speaks(self) -> bool:
        """True when its changes are told: not shelved, not out of service, not under another."""
        return not self.out_of_service and self.shelved_until_ms is None and self.under is None


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

    `at_ms` is when it came about: the time of the reading that decided it, of a keeper's request
    (`who`, and for a shelving `until_ms`), or of the clock for a silence. `value` is the value
    then, `over_ms` when the condition ended (None while it lasts). `told`: the keeper gets a
    message; `withheld`: one was due, and a flood's summary stands for it. `names`: what else the
    message names, such as the enclosures that cool.
    """

    cause: Cause
    at_ms: int
    before: State
    alarm: Alarm
    value: float | None = None
    over_ms: int | None = None
    digesting: tuple[Digesting, ...] = ()
    who: str | None = None
    until_ms: int | None = None
    told: bool = True
    withheld: bool = False
    names: tuple[str, ...] = ()
