"""A probe: what a real sensor makes of the air around it."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Literal, NamedTuple

from collector.readings import Quantity

SensorName = Literal["DS18B20", "SHT4x"]
POWER_ON_C = 85.0
"""A DS18B20 before its first conversion (datasheet, table 1 and its footnote)."""
NO_ANSWER_C = -127.0
"""What the usual drivers report for a DS18B20 that does not answer."""


class Sample(NamedTuple):
    """What a probe says: in °C or %RH."""

    probe: str
    quantity: Quantity
    value: float


@dataclass(frozen=True, slots=True)
class Sensor:
    """What a kind of sensor does to a value: its lag, resolution and noise (one sigma)."""

    lag_s: float
    step_c: float
    noise_c: float
    step_rh_pct: float | None = None
    noise_rh_pct: float = 0.0


# Resolutions: DS18B20 datasheet, table 1 (12 bit); SHT4x as most drivers print it. Lags and
# noise: our own choice, of the right size for a cased probe in still air.
SENSORS: dict[SensorName, Sensor] = {
    "DS18B20": Sensor(lag_s=90.0, step_c=0.0625, noise_c=0.03),
    "SHT4x": Sensor(lag_s=20.0, step_c=0.01, noise_c=0.02, step_rh_pct=0.01, noise_rh_pct=0.15),
}


@dataclass(frozen=True, slots=True)
class ProbeBuild:
    """A probe: its sensor, and how far it reads from the truth."""

    probe: str
    sensor: SensorName = "DS18B20"
    offset_c: float = 0.0
    offset_rh_pct: float = 0.0


class Probe:
    """One probe, read in the order of time. Equal seeds give equal noise."""

    def __init__(self, build: ProbeBuild, seed: int) -> None:
        self.build = build
        self._sensor = SENSORS[build.sensor]
        self._noise = random.Random(f"probe {seed} {build.probe}")  # noqa: S311  # simulated, not secret
        self._core_c: float | None = None
        self._read_ms = 0
        self._cold_start = False

    def power_lost(self) -> None:
        """Note that the sensor was without power: its next reading may be the power-on value."""
        self._cold_start = self.build.sensor == "DS18B20"

    def read(
        self, at_ms: int, air_c: float, rh_pct: float | None, *, plugged: bool = True
    ) -> list[Sample]:
        """What it says at `at_ms` in air of `air_c` and `rh_pct` (None where it feels none)."""
        probe = self.build.probe
        core_c = self._follow(at_ms, air_c)
        if not plugged:
            self.power_lost()
            silent = self.build.sensor != "DS18B20"
            return [] if silent else [Sample(probe, Quantity.TEMPERATURE, NO_ANSWER_C)]
        if self._cold_start:
            self._cold_start = False
            return [Sample(probe, Quantity.TEMPERATURE, POWER_ON_C)]
        sensor, gauss = self._sensor, self._noise.gauss
        value = core_c + self.build.offset_c + gauss(0.0, sensor.noise_c)
        samples = [Sample(probe, Quantity.TEMPERATURE, _in_steps(value, sensor.step_c))]
        if sensor.step_rh_pct is not None and rh_pct is not None:
            wet = rh_pct + self.build.offset_rh_pct + gauss(0.0, sensor.noise_rh_pct)
            wet = _in_steps(max(0.0, min(wet, 100.0)), sensor.step_rh_pct)
            samples.append(Sample(probe, Quantity.HUMIDITY, wet))
        return samples

    def _follow(self, at_ms: int, air_c: float) -> float:
        if self._core_c is None:
            self._core_c = air_c
        else:
            left = math.exp((self._read_ms - at_ms) / (1000 * self._sensor.lag_s))
            self._core_c = air_c + (self._core_c - air_c) * left
        self._read_ms = at_ms
        return self._core_c


def _in_steps(value: float, step: float) -> float:
    # Rounded again, so that 0.01 steps are the nearest binary number to what a driver prints.
    return round(round(value / step) * step, 4)
