"""Calibration: from what the keeper measured to the line that corrects a probe.

A probe's last calibration in the record book holds; without one, what the settings say. The
correction is kept beside each reading, so a new calibration changes nothing that was read before
it.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.book.records import Calibrated
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


def from_record(record: Calibrated) -> Correction:
    """The line through the point or the two points of a calibration in the book."""
    if record.second_read_c is None or record.second_true_c is None:
        return from_offset(record.true_c - record.read_c)
    gain = (record.second_true_c - record.true_c) / (record.second_read_c - record.read_c)
    return Correction(gain, record.true_c - gain * record.read_c)


class Calibration:
    """The corrections of all probes: of the book before those of the settings."""

    def __init__(self, probes: Iterable[Probe], calibrated: Iterable[Calibrated] = ()) -> None:
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
        for record in calibrated:  # oldest first: the last one holds
            key = SeriesKey(record.probe, Quantity.TEMPERATURE)
            self._corrections[key] = from_record(record)

    def of(self, key: SeriesKey) -> Correction:
        """The correction that holds for readings of this series from now on."""
        return self._corrections.get(key, AS_READ)

    def _add(self, key: SeriesKey, offset: float | None, points: TwoPoint | None) -> None:
        if points is not None:
            self._corrections[key] = from_points(points)
        elif offset is not None:
            self._corrections[key] = from_offset(offset)
