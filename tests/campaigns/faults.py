"""What goes wrong in the simulated year, and which alarm it has to raise: data, and a seeded plan.

Each fault has three days of its own, so that an alarm is known to belong to it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.watch.states import DAY_MS, HOUR_MS, MINUTE_MS, Kind

SLOT_MS = 3 * DAY_MS


@dataclass(frozen=True, slots=True)
class FaultKind:
    """A kind of fault: how long it lasts, and the alarms of which it must raise one.

    `expected` empty: it must raise none. `whole`: it strikes the home, not one enclosure. `often`:
    how many in a year, of the home or of each enclosure. `after_hours`: how long what it did goes
    on once it is over.
    """

    name: str
    hours: tuple[float, float]
    expected: frozenset[Kind]
    often: float
    whole: bool = False
    after_hours: float = 8.0


def _kind(name: str, hours: tuple[float, float], expected: Sequence[Kind], often: float,
          **more: float) -> FaultKind:  # fmt: skip
    return FaultKind(name, hours, frozenset(expected), often, **more)  # type: ignore[arg-type]


FAULT_KINDS = (
    _kind("heater dies", (5, 9), [Kind.WARM_SIDE_LOW], 1),
    _kind("thermostat drifts down", (40, 56), [Kind.WARM_SIDE_LOW], 1),
    _kind("heater stuck on", (6, 10), [Kind.TOO_HOT], 1),
    _kind("door left open", (1, 4), [Kind.WARM_SIDE_LOW], 1),
    _kind("probe unplugged", (1, 20), [Kind.PROBE_DOUBTED, Kind.NO_READINGS], 1),
    _kind("probe stuck", (30, 40), [Kind.PROBE_STUCK], 1),
    _kind("reads 85 °C again and again", (1, 3), [Kind.PROBE_DOUBTED, Kind.NO_READINGS], 0.5),
    _kind("reads 85 °C once", (0.02, 0.02), [], 0.5),
    _kind("too wet", (10, 20), [Kind.HUMIDITY_HIGH], 0.5, after_hours=14),
    _kind("too dry", (10, 20), [Kind.HUMIDITY_LOW], 0.5, after_hours=14),
    _kind(
        "power cut, rack and probes", (2, 6),
        [Kind.COLLECTOR_SILENT, Kind.SEVERAL_SILENT, Kind.SEVERAL_COOLING], 4,
        whole=True, after_hours=14,
    ),
    _kind("heating circuit off", (2, 6), [Kind.SEVERAL_COOLING], 3, whole=True, after_hours=14),
    _kind("collector killed", (0.5, 5), [Kind.COLLECTOR_SILENT], 4, whole=True, after_hours=1),
    _kind("broker away", (0.5, 8), [Kind.BROKER_AWAY], 5, whole=True, after_hours=1),
    _kind("clock an hour ahead", (0.3, 0.6), [], 3, whole=True, after_hours=2),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Planned:
    """One fault of the plan. `enclosure` is empty for one of the whole home."""

    kind: FaultKind
    enclosure: str
    from_ms: int
    until_ms: int

    @property
    def felt_until_ms(self) -> int:
        """Up to then an alarm may be of this fault."""
        return self.until_ms + round(self.kind.after_hours * HOUR_MS)


def plan(enclosures: Sequence[str], start_ms: int, days: int, seed: int) -> list[Planned]:
    """The faults of so many days, in their order. Of a part of a year, a part of them."""
    draw = random.Random(f"faults {seed}")
    wanted = [(kind, "") for kind in FAULT_KINDS if kind.whole for _ in range(round(kind.often))]
    for number, name in enumerate(enclosures):
        for kind in FAULT_KINDS:
            if not kind.whole and (kind.often >= 1 or number % round(1 / kind.often) == 0):
                wanted.append((kind, name))  # noqa: PERF401
    draw.shuffle(wanted)
    slots = min(days * DAY_MS // SLOT_MS, len(wanted))
    return [
        _planned(kind, name, start_ms + slot * SLOT_MS, draw)
        for slot, (kind, name) in enumerate(wanted[:slots])
    ]


def _planned(kind: FaultKind, enclosure: str, slot_ms: int, draw: random.Random) -> Planned:
    from_ms = slot_ms + round(draw.uniform(1.0, 8.0) * HOUR_MS) // MINUTE_MS * MINUTE_MS
    until_ms = from_ms + round(draw.uniform(*kind.hours) * HOUR_MS)
    return Planned(kind, enclosure, from_ms, until_ms)
