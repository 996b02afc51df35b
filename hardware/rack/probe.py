"""A probe: what a real sensor makes of the air around it, and a node of the sensor's bytes.

What it feels, with its lag, offset and noise, goes through a simulated sensor (hardware/simulated:
its register, reserved bytes and CRC) and is decoded as a node does. What bytes give which value is
kept in mind: a sensor has few values, and a rack is read a million times for the demo.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

from collector.readings import Quantity
from hardware.node import ds18b20, sht
from hardware.node.words import NoReading
from hardware.simulated.clock import Clock
from hardware.simulated.ds18b20 import Ds18b20
from hardware.simulated.sht import Sht4x

SensorName = Literal["DS18B20", "SHT4x"]
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
            return [] if silent else [Sample(probe, Quantity.TEMPERATURE, _said(_NOBODY))]
        if self._cold_start:
            self._cold_start = False
            return [Sample(probe, Quantity.TEMPERATURE, _said(_POWERED_UP))]
        sensor, gauss = self._sensor, self._noise.gauss
        value = core_c + self.build.offset_c + gauss(0.0, sensor.noise_c)
        if sensor.step_rh_pct is None:
            pad = _scratchpad(round(value / sensor.step_c))
            return [Sample(probe, Quantity.TEMPERATURE, _said(pad))]
        warm = _in_steps(_sht_c(round(value, 3)), sensor.step_c)
        samples = [Sample(probe, Quantity.TEMPERATURE, warm)]
        if rh_pct is not None:
            wet = rh_pct + self.build.offset_rh_pct + gauss(0.0, sensor.noise_rh_pct)
            wet = _in_steps(_sht_pct(round(wet, 3)), sensor.step_rh_pct)
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


@lru_cache(maxsize=4096)
def _scratchpad(sixteenths: int) -> bytes:
    """The nine bytes of a DS18B20 that has measured so many sixteenths of a °C."""
    clock = Clock()
    sensor = Ds18b20(_ROM, sixteenths / 16, clock)
    sensor.convert()
    clock.sleep_ms(sensor.conversion_ms)
    return sensor.scratchpad()


@lru_cache(maxsize=4096)
def _said(pad: bytes) -> float:
    """What a node makes of the nine bytes, in °C; as most drivers, -127 where nobody answered."""
    try:
        return ds18b20.celsius_e4(pad) / 10_000
    except NoReading:
        return NO_ANSWER_C


@lru_cache(maxsize=16384)
def _sht_c(celsius: float) -> float:
    """What a node makes of the bytes of an SHT4x at `celsius`, in °C."""
    return sht.celsius_e4(sht.words(_answer(celsius, 50.0))[0]) / 10_000


@lru_cache(maxsize=65536)
def _sht_pct(rh_pct: float) -> float:
    """What a node makes of the bytes of an SHT4x in air of `rh_pct`, in %RH."""
    return sht.humidity_e4(sht.words(_answer(25.0, rh_pct))[1], sht.KINDS["SHT4x"]) / 10_000


def _answer(celsius: float, rh_pct: float) -> bytes:
    clock = Clock()
    sensor = Sht4x(celsius, rh_pct, 0, clock)
    sensor.write(sht.KINDS["SHT4x"].measure)
    clock.sleep_ms(10)
    return sensor.read(6)


_ROM = bytes.fromhex("28a1b2c3d4e5f6")
_POWERED_UP = Ds18b20(_ROM, 0.0, Clock()).scratchpad()
_NOBODY = b"\xff" * 9


def _in_steps(value: float, step: float) -> float:
    # Rounded again, so that 0.01 steps are the nearest binary number to what a driver prints.
    return round(round(value / step) * step, 4)
