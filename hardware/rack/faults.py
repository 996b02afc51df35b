"""What goes wrong in a rack, and when: each a frozen event over [from_ms, until_ms)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

FOREVER_MS = 2**62
"""The end of what nobody has ended yet."""


class Heater(Enum):
    """Who decides about the heater."""

    THERMOSTAT = "thermostat"
    OFF = "off"
    STUCK_ON = "stuck on"


@dataclass(frozen=True, slots=True)
class HeaterFault:
    """The heater of an enclosure is dead, or its relay has welded shut."""

    enclosure: str
    heater: Heater
    from_ms: int
    until_ms: int = FOREVER_MS


@dataclass(frozen=True, slots=True)
class ThermostatDrift:
    """The thermostat's setpoint wanders evenly to `by_k` from its mark, until it is mended."""

    enclosure: str
    by_k: float
    from_ms: int
    until_ms: int


@dataclass(frozen=True, slots=True)
class DoorOpen:
    """The door of an enclosure stands open."""

    enclosure: str
    from_ms: int
    until_ms: int = FOREVER_MS


@dataclass(frozen=True, slots=True)
class Misting:
    """Water is sprayed into an enclosure."""

    enclosure: str
    from_ms: int
    until_ms: int = FOREVER_MS


@dataclass(frozen=True, slots=True)
class PowerCut:
    """No power in the whole rack: no heat, no readings; a DS18B20 then first reads 85 °C."""

    from_ms: int
    until_ms: int = FOREVER_MS


@dataclass(frozen=True, slots=True)
class Unplugged:
    """A probe without contact: a DS18B20 reads −127 °C, the others nothing."""

    probe: str
    from_ms: int
    until_ms: int = FOREVER_MS


@dataclass(frozen=True, slots=True)
class Fallen:
    """A probe has slipped from its place and lies on the floor of the cool side."""

    probe: str
    from_ms: int
    until_ms: int = FOREVER_MS


Fault = HeaterFault | ThermostatDrift | DoorOpen | Misting | PowerCut | Unplugged | Fallen


@dataclass(frozen=True, slots=True)
class EnclosureState:
    """What holds in an enclosure until `until_ms`."""

    until_ms: int
    powered: bool
    heater: Heater
    door_open: bool
    misting: bool
    drifts: tuple[ThermostatDrift, ...]

    def setpoint_shift_k(self, at_ms: int) -> float:
        """How far the thermostat has wandered by `at_ms`, in K."""
        shift = 0.0
        for drift in self.drifts:
            shift += drift.by_k * (at_ms - drift.from_ms) / (drift.until_ms - drift.from_ms)
        return shift


@dataclass(frozen=True, slots=True)
class ProbeState:
    """What holds for a probe until `until_ms`."""

    until_ms: int
    powered: bool
    plugged: bool
    fallen: bool


class Script:
    """The faults of a rack. Asked forwards in time, it answers mostly from its last answer."""

    def __init__(self, faults: Iterable[Fault] = ()) -> None:
        self._faults: list[Fault] = list(faults)
        self._enclosures: dict[str, EnclosureState] = {}
        self._probes: dict[str, ProbeState] = {}

    @property
    def faults(self) -> Sequence[Fault]:
        """All of them, ended or not."""
        return tuple(self._faults)

    def add(self, fault: Fault) -> None:
        """Let one more thing go wrong."""
        self._faults.append(fault)
        self._forget()

    def end(self, matches: Callable[[Fault], bool], at_ms: int) -> int:
        """End at `at_ms` every matching fault that is still going on; return how many."""
        ended = 0
        for index, fault in enumerate(self._faults):
            if _holds(fault, at_ms) and matches(fault):
                self._faults[index] = replace(fault, until_ms=at_ms)
                ended += 1
        self._forget()
        return ended

    def enclosure(self, name: str, at_ms: int) -> EnclosureState:
        """What holds in the enclosure at `at_ms`. Ask in the order of time."""
        known = self._enclosures.get(name)
        if known is None or at_ms >= known.until_ms:
            known = self._enclosures[name] = self._enclosure_state(name, at_ms)
        return known

    def probe(self, probe: str, at_ms: int) -> ProbeState:
        """What holds for the probe at `at_ms`. Ask in the order of time."""
        known = self._probes.get(probe)
        if known is None or at_ms >= known.until_ms:
            known = self._probes[probe] = self._probe_state(probe, at_ms)
        return known

    def _forget(self) -> None:
        self._enclosures.clear()
        self._probes.clear()

    def _enclosure_state(self, name: str, at_ms: int) -> EnclosureState:
        mine = [f for f in self._faults if getattr(f, "enclosure", name) == name]
        now = [f for f in mine if _holds(f, at_ms)]
        heaters = [f.heater for f in now if isinstance(f, HeaterFault)]
        return EnclosureState(
            until_ms=_next_change(mine, at_ms),
            powered=not any(isinstance(f, PowerCut) for f in now),
            heater=heaters[-1] if heaters else Heater.THERMOSTAT,
            door_open=any(isinstance(f, DoorOpen) for f in now),
            misting=any(isinstance(f, Misting) for f in now),
            drifts=tuple(f for f in now if isinstance(f, ThermostatDrift)),
        )

    def _probe_state(self, probe: str, at_ms: int) -> ProbeState:
        mine = [
            f
            for f in self._faults
            if isinstance(f, PowerCut) or (isinstance(f, (Unplugged, Fallen)) and f.probe == probe)
        ]
        now = [f for f in mine if _holds(f, at_ms)]
        return ProbeState(
            until_ms=_next_change(mine, at_ms),
            powered=not any(isinstance(f, PowerCut) for f in now),
            plugged=not any(isinstance(f, Unplugged) for f in now),
            fallen=any(isinstance(f, Fallen) for f in now),
        )


def _holds(fault: Fault, at_ms: int) -> bool:
    return fault.from_ms <= at_ms < fault.until_ms


def _next_change(faults: Sequence[Fault], at_ms: int) -> int:
    edges = [edge for f in faults for edge in (f.from_ms, f.until_ms) if edge > at_ms]
    return min(edges, default=FOREVER_MS)
