"""The line of a zone as an animal had it: its stays, the probes placed there, their readings.

- A stay or the span asked for cuts a line; the readings beyond still serve for it at the edge.
- A placement ends a line: only readings taken within it count, and none is joined to one taken
  before or after, not even of the same probe in the same place.
- Several probes known at once: their mean. Where two were further apart than the settings allow is
  handed along, because then one of them lies wrong or lies.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from analysis.exposure import Line, difference, line_of, mean_of
from analysis.tracks import Tracks
from collector.book.records import Enclosure, Placement, Stay, Zone
from collector.readings import Quantity, SeriesKey


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two probes of one zone that were further apart than allowed, while both were known."""

    probes: tuple[str, str]
    hours: float
    longest_hours: float
    most_c: float
    """The most they were apart, in K."""


@dataclass(frozen=True, slots=True)
class ZoneLine:
    """The line of a zone. None: no probe for it was placed there. Empty: none was heard."""

    line: Line | None
    probes: tuple[str, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()


def zone_line(
    zones: Zone | Collection[Zone],
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
    *,
    stays: Iterable[Stay],
    placements: Collection[Placement],
    tracks: Tracks,
    gap_ms: float,
    apart_c: float | None = None,
) -> ZoneLine:
    """The mean line of the probes in `zones` over [start_ms, end_ms), along one animal's `stays`.

    Time without a stay is unknown. Where probes were further apart than `apart_c` is reported, if
    that is given.
    """
    lines: dict[str, list[Line]] = {}
    span = start_ms, max(end_ms, start_ms + 1)
    for one, since, until in placed_along(zones, *span, stays=stays, placements=placements):
        if tracks.measures(one.probe, quantity):
            line = _placed_line(one, quantity, since, until, tracks=tracks, gap_ms=gap_ms)
            lines.setdefault(one.probe, []).append(line)
    if not lines:
        return ZoneLine(None)
    whole = {probe: mean_of(parts) for probe, parts in sorted(lines.items())}
    return ZoneLine(mean_of(whole.values()), tuple(whole), tuple(_disagreements(whole, apart_c)))


def placed_along(
    zones: Zone | Collection[Zone],
    start_ms: int,
    end_ms: int,
    *,
    stays: Iterable[Stay],
    placements: Iterable[Placement],
) -> Iterator[tuple[Placement, int, int]]:
    """The placements in `zones` where an animal was in [start_ms, end_ms), while it was there.

    Each comes with the part of that span which the stay has, in UTC ms.
    """
    wanted = {zones} if isinstance(zones, Zone) else set(zones)
    placed = [one for one in placements if one.zone in wanted]
    for stay in stays:
        since, until = overlap(stay, start_ms, end_ms)
        for one in placed:
            first, end = overlap(one, since, until)
            if one.enclosure == stay.enclosure and first < end:
                yield one, since, until


def room_placements(
    placements: Iterable[Placement], enclosures: Iterable[Enclosure]
) -> list[Placement]:
    """The room probes, each as if it were placed in every enclosure of its room.

    A probe that measures the room is placed in the `room` zone of one of its enclosures and
    measures for all of them.
    """
    rooms = {one.enclosure: one.room for one in enclosures}
    mates: dict[str, list[str]] = {}
    for enclosure, room in rooms.items():
        if room is not None:
            mates.setdefault(room, []).append(enclosure)
    return [
        replace(one, enclosure=enclosure)
        for one in placements
        if one.zone is Zone.ROOM
        for enclosure in mates.get(rooms.get(one.enclosure) or "", [one.enclosure])
    ]


def _placed_line(
    placement: Placement,
    quantity: Quantity,
    since_ms: int,
    until_ms: int,
    *,
    tracks: Tracks,
    gap_ms: float,
) -> Line:
    """The placement's line over [since_ms, until_ms)."""
    first, end = overlap(placement, math.floor(since_ms - gap_ms), math.ceil(until_ms + gap_ms))
    at_ms, value = tracks.readings(SeriesKey(placement.probe, quantity), first, end)
    return line_of(at_ms, value, gap_ms).cut(since_ms, until_ms)


def overlap(span: Stay | Placement, start_ms: int, end_ms: int) -> tuple[int, int]:
    """The part of [start_ms, end_ms) that a record is about; empty where the end comes first."""
    until_ms = span.until_ms if span.until_ms is not None else end_ms
    return max(span.since_ms, start_ms), min(until_ms, end_ms)


def _disagreements(lines: dict[str, Line], apart_c: float | None) -> Iterator[Disagreement]:
    if apart_c is None:
        return
    for (probe, line), (other, other_line) in combinations(lines.items(), 2):
        apart = difference(line, other_line)
        # Further apart than allowed, either way round: below −apart_c, upside down or not.
        ways = (apart, apart.upside_down())
        hours = sum(way.hours_below(-apart_c) for way in ways)
        spells = [s for way in ways if (s := way.longest_spell_below(-apart_c)) is not None]
        if spells:
            yield Disagreement(
                (probe, other),
                hours,
                max(spell.hours for spell in spells),
                -min(float(way.low_c.min()) for way in ways),
            )
