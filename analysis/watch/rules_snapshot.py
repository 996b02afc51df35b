"""What the rules are told at one evaluation, and what they carry to the next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.watch.rules_falling import Look
from analysis.watch.states import Alarm, AlarmKey, Digesting, Kind, Transition
from collector.book.records import Zone


@dataclass(frozen=True, slots=True)
class Series:
    """What a threshold rule judges: (time in ms, value) in time order; and, for a warm side, the
    looks at how it falls."""

    key: AlarmKey
    points: Sequence[tuple[int, float]] = ()
    looks: Sequence[Look] = ()


@dataclass(frozen=True, slots=True)
class PlacedProbe:
    """A probe that is placed now: `heard_ms` is the time of its last usable temperature,
    `newest_ms` that of its last one, usable or not."""

    probe: str
    enclosure: str
    zone: Zone
    placed_ms: int
    heard_ms: int | None = None
    newest_ms: int | None = None

    @property
    def silence_key(self) -> AlarmKey:
        """The alarm of its silence."""
        return AlarmKey(Kind.NO_READINGS, self.enclosure, self.probe)


@dataclass(frozen=True, slots=True)
class SourceState:
    """Whether the collector has what one of its sources listens to, and since when."""

    name: str
    connected: bool
    since_ms: int

    @property
    def key(self) -> AlarmKey:
        """The alarm of its absence."""
        if self.name.startswith("mqtt"):
            return AlarmKey(Kind.BROKER_AWAY)
        return AlarmKey(Kind.LINE_AWAY, "", self.name)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that the rules are told. `watching_since_ms`: a silence before it is nobody's fault.

    `digesting` holds all windows that may matter, by enclosure. `sources` is what the collector
    says of its sources (None: it says nothing); `collector_ended`: its process is known to be
    gone (None: not known).
    """

    series: Sequence[Series] = ()
    probes: Sequence[PlacedProbe] = ()
    watching_since_ms: int = 0
    digesting: Mapping[str, Sequence[Digesting]] = field(default_factory=dict)
    sources: Sequence[SourceState] | None = None
    collector_ended: bool | None = None


@dataclass(frozen=True, slots=True)
class Memory:
    """What was raised when: by it chattering and floods are known. Found again in the file.

    `raised` and `ended` hold the times of the last hour, `called` those at which the keeper was
    called, or would have been but for a flood.
    """

    raised: Mapping[AlarmKey, tuple[int, ...]] = field(default_factory=dict)
    ended: Mapping[AlarmKey, tuple[int, ...]] = field(default_factory=dict)
    called: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Evaluation:
    """The alarms as they are now, and how they came to be so, in the order it happened."""

    alarms: dict[AlarmKey, Alarm]
    transitions: list[Transition] = field(default_factory=list)
    memory: Memory = field(default_factory=Memory)
    settled: tuple[int, ...] = ()
    """The numbers of the requests that were carried out."""
