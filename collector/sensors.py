"""What each kind of sensor can say, and the values that are no measurement at all."""

from __future__ import annotations

from typing import Literal

from collector.readings import Flag, Quantity

Sensor = Literal["DS18B20", "SHT3x", "SHT4x", "other"]

POWER_ON_C = 85.0
"""What a DS18B20's scratchpad holds from power-up to its first conversion (datasheet, table 1)."""
DISCONNECTED_C = -127.0
"""What common drivers report for a probe that does not answer (common practice)."""

_RANGE_C: dict[Sensor | None, tuple[float, float]] = {
    "DS18B20": (-55.0, 125.0),  # datasheet: measures −55 to +125 °C
    "SHT3x": (-40.0, 125.0),  # datasheet: specified −40 to +125 °C
    "SHT4x": (-40.0, 125.0),
    "other": (-55.0, 125.0),
    None: (-55.0, 125.0),
}
_RANGE_PCT = (0.0, 100.0)
_SAME_C = 1e-6
"""°C; room for the last digits that a conversion from °F or K leaves."""


def impossible(raw: float, quantity: Quantity, sensor: Sensor | None) -> Flag:
    """The flag of a raw value (°C, %RH, V) that its sensor cannot have measured, else NONE."""
    if quantity is Quantity.VOLTAGE:
        return Flag.NONE
    if quantity is Quantity.TEMPERATURE and abs(raw - DISCONNECTED_C) <= _SAME_C:
        return Flag.DISCONNECTED
    low, high = _RANGE_C[sensor] if quantity is Quantity.TEMPERATURE else _RANGE_PCT
    return Flag.NONE if low <= raw <= high else Flag.OUT_OF_RANGE


def may_be_power_on(raw: float, quantity: Quantity, sensor: Sensor | None) -> bool:
    """True for the power-on value of a DS18B20, or of a sensor that may be one."""
    return (
        quantity is Quantity.TEMPERATURE
        and sensor not in ("SHT3x", "SHT4x")
        and abs(raw - POWER_ON_C) <= _SAME_C
    )
