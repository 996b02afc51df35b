"""A reading, and the few words that go with it. Every other room speaks in these."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag, StrEnum


class Quantity(StrEnum):
    """What a probe measures. Values are kept in °C, %RH and V."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    VOLTAGE = "voltage"


class Flag(IntFlag):
    """Why a reading is doubted. A flagged reading is kept as it came, and not used."""

    NONE = 0
    OUT_OF_RANGE = 1
    """Outside what the sensor can measure."""
    POWER_ON = 2
    """The value a DS18B20 holds before its first conversion (85 °C), with no neighbour near it."""
    DISCONNECTED = 4
    """The value a driver reports for a probe that does not answer (−127 °C)."""
    JUMP = 8
    """A change faster than the inside of an enclosure can make."""
    STUCK = 16
    """The same raw value for hours while other probes moved."""


@dataclass(frozen=True, slots=True)
class Correction:
    """A probe's calibration as a line: value = gain × raw + offset."""

    gain: float = 1.0
    offset: float = 0.0

    def apply(self, raw: float) -> float:
        """The corrected value, in the unit of `raw`. Exact when there is no correction."""
        return self.gain * raw + self.offset


AS_READ = Correction()
"""No correction."""


@dataclass(frozen=True, slots=True)
class SeriesKey:
    """One probe's one quantity."""

    probe: str
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class Reading:
    """One measurement of one probe.

    `at_ms` is UTC in milliseconds since 1970, the resolution the store keeps. `raw` is what the
    sensor said, in °C, %RH or V; it is never altered. A reading is known by
    (probe, quantity, at_ms): a second one with the same three is the same reading.
    """

    probe: str
    quantity: Quantity
    at_ms: int
    raw: float
    correction: Correction = AS_READ
    flags: Flag = Flag.NONE

    @property
    def value(self) -> float:
        """The corrected value, in °C, %RH or V."""
        return self.correction.apply(self.raw)

    @property
    def usable(self) -> bool:
        """True when no plausibility check failed."""
        return self.flags == Flag.NONE

    def flagged(self, flags: Flag) -> Reading:
        """The same reading with these flags."""
        if flags == self.flags:
            return self
        return Reading(self.probe, self.quantity, self.at_ms, self.raw, self.correction, flags)

    @property
    def key(self) -> SeriesKey:
        """The series it belongs to."""
        return SeriesKey(self.probe, self.quantity)
