"""What a decoder makes of a frame: measurements in our units, before they have a certain time."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.readings import Quantity

LONGEST_PROBE_NAME = 128
"""Characters. No standard sets a limit; a bound keeps rubbish from filling the store with names."""

UNIT_OF = {Quantity.TEMPERATURE: "Cel", Quantity.HUMIDITY: "%RH", Quantity.VOLTAGE: "V"}
"""The SenML unit (RFC 8428 §12.1) that each quantity is kept in."""

_QUANTITY_OF = {
    "Cel": Quantity.TEMPERATURE,
    "K": Quantity.TEMPERATURE,
    "degF": Quantity.TEMPERATURE,
    "%RH": Quantity.HUMIDITY,
    "V": Quantity.VOLTAGE,
}
FAULT = "_fault"
"""Behind a probe's name: a text record (RFC 8428 "vs") that says why there is no reading of it."""
_QUANTITY_WORDS = frozenset(quantity.value for quantity in Quantity)
_DECIMALS = 9
"""Of converted values. Finer than any sensor, and it takes away what the arithmetic adds:
358.15 K is 85 °C, not 84.99999999999994."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement of one probe, in °C, %RH or V, as the sensor said it.

    `at_ms` is the time that it came with (UTC, ms). Without one it is None, and the measurement
    belongs `offset_ms` after the arrival of its frame (negative: before).
    """

    probe: str
    quantity: Quantity
    raw: float
    at_ms: int | None = None
    offset_ms: int = 0


@dataclass(frozen=True, slots=True)
class Ignored:
    """Something in a frame that is not kept: `reason` is counted, `detail` is for the log.

    `about` is the probe, where the log should name each one.
    """

    reason: str
    detail: str
    about: str = ""


@dataclass(slots=True)
class Decoded:
    """What a frame held: what is kept, and what is not."""

    measured: list[Measured] = field(default_factory=list)
    ignored: list[Ignored] = field(default_factory=list)


def in_our_unit(value: float, unit: str | None) -> tuple[Quantity, float] | None:
    """The quantity and the value in °C, %RH or V; None when `unit` is none of ours.

    Known are the SenML units Cel, K, %RH and V (RFC 8428 §12.1), and degF, which is not one.
    """
    quantity = _QUANTITY_OF.get(unit) if unit is not None else None
    if quantity is None:
        return None
    if unit == "K":
        return quantity, round(value - 273.15, _DECIMALS)
    if unit == "degF":
        return quantity, round((value - 32.0) / 1.8, _DECIMALS)
    return quantity, value


def probe_of(name: str) -> str:
    """The probe in a device name: without a last part that only names what is measured.

    RFC 9039 puts it after "_" (urn:dev:ow:264437f5000000ed_humidity), RFC 8428's own examples,
    which are older, after ":" (urn:dev:ow:10e2073a01080063:voltage).
    """
    for mark in "_:":
        head, _, last = name.rpartition(mark)
        if head and last in _QUANTITY_WORDS:
            return head
    return name


def name_of(probe: str, quantity: Quantity) -> str:
    """The device name (RFC 9039) that `probe_of` turns back into `probe`."""
    bare = quantity is Quantity.TEMPERATURE and probe_of(probe) == probe
    return probe if bare else f"{probe}_{quantity.value}"
