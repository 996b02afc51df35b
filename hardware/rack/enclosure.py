"""An enclosure's air: warm side, cool side and moisture, stepped exactly between switchings.

The warm side is one store of heat that loses it to the room, dT/dt = (T_room + heat − T)/τ, so
that with the heater off it falls as `T_room + (T0 − T_room) e^(−t/τ)`. The cool side follows a
mix of room and warm side with a time constant of its own; moisture above the room's likewise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hardware.rack.faults import EnclosureState, Heater
from hardware.rack.room import saturation_hpa

_DOOR_SPEEDS_UP = 8.0
_MISTING_HPA_PER_S = 0.05


@dataclass(frozen=True, slots=True)
class EnclosureBuild:
    """How an enclosure is built and set.

    `warm_tau_s` and `cool_tau_s` are time constants in s with the door closed; `heat_k` is how far
    above the room the warm side would settle with the heater always on; `cool_share` how much of
    the warm side's excess over the room the cool side settles at; `wet_hpa` how much vapour the
    water bowl keeps up above the room's.
    """

    name: str
    setpoint_c: float = 31.2
    hysteresis_k: float = 0.8
    heat_k: float = 17.0
    warm_tau_s: float = 8_400.0
    cool_tau_s: float = 5_400.0
    cool_share: float = 0.48
    wet_hpa: float = 7.0
    wet_tau_s: float = 10_800.0


class Enclosure:
    """One enclosure, stepped forwards."""

    def __init__(self, build: EnclosureBuild, room_c: float) -> None:
        self.build = build
        self.warm_c = build.setpoint_c
        self.cool_c = room_c + build.cool_share * (build.setpoint_c - room_c)
        self.wet_hpa = build.wet_hpa
        self.heating = False
        self._decays: dict[tuple[float, bool], tuple[float, float, float]] = {}

    def step(self, seconds: float, at_ms: int, room_c: float, state: EnclosureState) -> None:
        """Go on for `seconds` from `at_ms`, the room and the state held; exact for any length.

        The thermostat decides at the start of the step: keep steps to a minute or less.
        """
        build, door = self.build, state.door_open
        self.heating = self._decide(at_ms, state)
        warm_left, cool_left, wet_left = self._decay(seconds, door)
        # The same power against a loss that is larger by as much as the time constant is smaller.
        heat_k = (build.heat_k / _DOOR_SPEEDS_UP if door else build.heat_k) * self.heating
        before = self.warm_c
        target = room_c + heat_k
        self.warm_c = target + (before - target) * warm_left
        share = 0.0 if door else build.cool_share
        target = room_c + share * ((before + self.warm_c) / 2 - room_c)
        self.cool_c = target + (self.cool_c - target) * cool_left
        wet = 0.0 if door else build.wet_hpa
        self.wet_hpa = wet + (self.wet_hpa - wet) * wet_left
        if state.misting:
            self.wet_hpa += _MISTING_HPA_PER_S * seconds

    def air_c(self, warm_share: float) -> float:
        """Air temperature in °C between the cool side (0) and the warm side (1)."""
        return self.cool_c + warm_share * (self.warm_c - self.cool_c)

    def humidity_pct(self, warm_share: float, room_hpa: float) -> float:
        """Relative humidity in % at that place: the vapour is the same everywhere in it."""
        saturated = saturation_hpa(self.air_c(warm_share))
        return min(100.0 * (room_hpa + self.wet_hpa) / saturated, 100.0)

    def _decide(self, at_ms: int, state: EnclosureState) -> bool:
        if not state.powered or state.heater is Heater.OFF:
            return False
        if state.heater is Heater.STUCK_ON:
            return True
        setpoint_c = self.build.setpoint_c
        if state.drifts:
            setpoint_c += state.setpoint_shift_k(at_ms)
        half = self.build.hysteresis_k / 2
        if self.warm_c <= setpoint_c - half:
            return True
        return self.heating and self.warm_c < setpoint_c + half

    def _decay(self, seconds: float, door: bool) -> tuple[float, float, float]:
        known = self._decays.get((seconds, door))
        if known is None:
            if len(self._decays) > 64:
                self._decays.clear()
            faster = _DOOR_SPEEDS_UP if door else 1.0
            build = self.build
            known = self._decays[seconds, door] = (
                math.exp(-seconds * faster / build.warm_tau_s),
                math.exp(-seconds * faster / build.cool_tau_s),
                math.exp(-seconds * faster / build.wet_tau_s),
            )
        return known
