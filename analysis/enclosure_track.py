"""Warm side and room of one enclosure over all its records, side by side. Pure but for its reader.

A point each minute at most. Where either is not known the point has no value there; nothing is
filled in. The room is optional: without a room probe its column is empty.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.exposure import Floats, Line
from analysis.gathering import Facts
from analysis.tracks import Tracks
from analysis.words import HOUR_MS
from analysis.zones import zone_line
from collector.book.records import Placement, Stay, Zone
from collector.readings import Quantity

MINUTE_MS = 60_000
_CHUNK_MS = 7 * 24 * HOUR_MS


@dataclass(frozen=True, eq=False)
class EnclosureTrack:
    """Points in time order: `at_ms`, the warm side and the room in °C (NaN: not known)."""

    at_ms: Floats
    warm_c: Floats
    room_c: Floats
    gap_ms: float

    def __len__(self) -> int:
        """Number of points."""
        return len(self.at_ms)

    def of_hours(self) -> Hours:
        """Means over whole hours that are known to five sixths; the rest is left out."""
        return _hours(self)


@dataclass(frozen=True, eq=False)
class Hours:
    """Hourly means: `hour` counts since 1970; only hours in which both were known."""

    hour: Floats
    warm_c: Floats
    room_c: Floats


def enclosure_track(
    enclosure: str,
    facts: Facts,
    tracks: Tracks,
    *,
    start_ms: int,
    end_ms: int,
    gap_ms: float,
) -> EnclosureTrack:
    """From the readings of [start_ms, end_ms), a week at a time."""
    parts = list(_chunks(enclosure, facts, tracks, start_ms, end_ms, gap_ms))
    at_ms, warm_c, room_c = (
        (np.concatenate(part) for part in zip(*parts, strict=True))
        if parts
        else (np.empty(0) for _ in range(3))
    )
    return EnclosureTrack(at_ms, warm_c, room_c, gap_ms)


def _chunks(  # noqa: PLR0917  # the same parts in the same order as enclosure_track
    enclosure: str, facts: Facts, tracks: Tracks, start_ms: int, end_ms: int, gap_ms: float
) -> Iterator[tuple[Floats, Floats, Floats]]:
    for first in range(start_ms, end_ms, _CHUNK_MS):
        until = min(first + _CHUNK_MS, end_ms)

        def line(zone: Zone, placements: Sequence[Placement]) -> Line | None:
            return zone_line(
                zone,
                Quantity.TEMPERATURE,
                first,  # noqa: B023  # called at once
                until,  # noqa: B023
                stays=[Stay("", enclosure, first)],  # noqa: B023
                placements=placements,
                tracks=tracks,
                gap_ms=gap_ms,
            ).line

        warm = line(Zone.WARM_SIDE, facts.placements)
        if warm is None or not len(warm):
            continue
        at_ms = _corners(warm)
        room = line(Zone.ROOM, facts.rooms)
        yield at_ms, sampled(warm, at_ms), _room(room, at_ms)


def _corners(line: Line) -> Floats:
    """The readings' own times, or whole minutes where they come more often."""
    corners = np.unique(np.concatenate((line.start_ms, line.end_ms)))
    if float(np.median(np.diff(corners))) >= MINUTE_MS:
        return corners
    minutes = np.arange(-(-corners[0] // MINUTE_MS), corners[-1] // MINUTE_MS + 1) * MINUTE_MS
    known: Floats = minutes[~np.isnan(sampled(line, minutes))]
    return known


def _room(line: Line | None, at_ms: Floats) -> Floats:
    return np.full(len(at_ms), np.nan) if line is None else sampled(line, at_ms)


def sampled(line: Line, at_ms: Floats) -> Floats:
    """The line's values at those times; NaN where nothing is known."""
    if not len(line):
        return np.full(len(at_ms), np.nan)
    i = np.maximum(np.searchsorted(line.start_ms, at_ms, side="right") - 1, 0)
    share = (at_ms - line.start_ms[i]) / line.length_ms[i]
    value = line.start_c[i] + share * (line.end_c[i] - line.start_c[i])
    return np.where((share >= 0) & (share <= 1), value, np.nan)


def _hours(track: EnclosureTrack) -> Hours:
    both = ~(np.isnan(track.warm_c) | np.isnan(track.room_c))
    at, warm, room = track.at_ms[both], track.warm_c[both], track.room_c[both]
    if len(at) < 2:
        return Hours(np.empty(0), np.empty(0), np.empty(0))
    step = np.diff(at, append=at[-1])
    held = np.where(step <= track.gap_ms, step, 0.0)
    hour, index = np.unique(at // HOUR_MS, return_inverse=True)
    known = np.bincount(index, weights=held)
    enough = known >= HOUR_MS * 5 / 6
    with np.errstate(invalid="ignore"):
        means = [np.bincount(index, weights=held * value) / known for value in (warm, room)]
    return Hours(hour[enough], means[0][enough], means[1][enough])
