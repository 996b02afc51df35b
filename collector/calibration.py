"""Calibration: from what the keeper measured to the line that corrects a probe.

The correction is kept beside each reading, so a new calibration changes nothing that was read
before it.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.readings import AS_READ, Correction, Quantity, SeriesKey
from config.settings import Probe, TwoPoint


def from_offset(offset: float) -> Correction:
    """Add `offset` (°C or %RH) to every reading."""
    return Correction(1.0, offset)


def from_points(points: TwoPoint) -> Correction:
    """The line through two points: what the probe read and what was true, at two temperatures."""
    (read_low, read_high), (true_low, true_high) = points.read, points.true
    gain = (true_high - true_low) / (read_high - read_low)
    return Correction(gain, true_low - gain * read_low)


class Calibration:
    """The corrections of all probes in the settings."""

    def __init__(self, probes: Iterable[Probe]) -> None:
        self._corrections: dict[SeriesKey, Correction] = {}
        for probe in probes:
            self._add(
                SeriesKey(probe.id, Quantity.TEMPERATURE),
                probe.temperature_offset_c,
                probe.temperature_two_point_c,
            )
            self._add(
                SeriesKey(probe.id, Quantity.HUMIDITY),
                probe.humidity_offset_pct,
                probe.humidity_two_point_pct,
            )

    def of(self, key: SeriesKey) -> Correction:
        """The correction that holds for readings of this series from now on."""
        return self._corrections.get(key, AS_READ)

    def _add(self, key: SeriesKey, offset: float | None, points: TwoPoint | None) -> None:
        if points is not None:
            self._corrections[key] = from_points(points)
        elif offset is not None:
            self._corrections[key] = from_offset(offset)
