"""A zone of an enclosure over any span, reduced to what a picture so many columns wide shows.

Of each column the first, lowest, highest and last point of the zone's line stay; gaps stay gaps.
Where readings were thinned, the lowest and the highest of each hour stand for them.
A week is looked at at a time, so that a year takes no more memory than a week.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np

from analysis.exposure import NOTHING, Line
from analysis.figures.reduce import Path, paths_of, reduced
from analysis.tracks import Tracks
from analysis.zone_hours import hour_paths, zone_hours
from analysis.zones import zone_line
from collector.book.records import Placement, Stay, Zone
from collector.readings import Quantity

_WEEK_MS = 7 * 86_400_000


def zone_series(
    enclosure: str,
    zones: Zone | Collection[Zone],
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
    *,
    placements: Collection[Placement],
    tracks: Tracks,
    gap_ms: float,
    columns: int,
) -> Line | None:
    """The zone's line over [start_ms, end_ms), reduced; None where no probe was placed."""
    placed, found = False, list[Path]()
    for first in range(start_ms, end_ms, _WEEK_MS):
        until, stays = min(first + _WEEK_MS, end_ms), [Stay("", enclosure, first)]
        line = zone_line(
            zones, quantity, first, until,
            stays=stays, placements=placements, tracks=tracks, gap_ms=gap_ms,
        ).line  # fmt: skip
        placed = placed or line is not None
        thinned = zone_hours(
            zones, quantity, first, until, stays=stays, placements=placements, tracks=tracks
        ).outside(line)
        paths = hour_paths(thinned) + (paths_of(line) if line is not None else [])
        found += [
            reduced(path, start_ms, end_ms, columns)
            for path in sorted(paths, key=lambda path: path.at_ms[0])
        ]
    if not placed:
        return None
    # A column that two weeks share was reduced in halves: the halves together, once more.
    return line_through([reduced(path, start_ms, end_ms, columns) for path in _joined(found)])


def line_through(paths: Collection[Path]) -> Line:
    """The line through the points of unbroken paths, which do not overlap."""
    if not paths:
        return NOTHING
    ends = [
        np.concatenate([part[which] for part in parts])
        for parts in ([p.at_ms for p in paths], [p.value for p in paths])
        for which in (slice(None, -1), slice(1, None))
    ]
    start_ms, end_ms, start_c, end_c = ends
    lasts = end_ms > start_ms  # a step lasts no time
    return Line(start_ms[lasts], end_ms[lasts], start_c[lasts], end_c[lasts])


def _joined(paths: Collection[Path]) -> Iterator[Path]:
    """Paths in time order, those put together that meet."""
    held: list[Path] = []
    for path in paths:
        if held and held[-1].at_ms[-1] != path.at_ms[0]:
            yield _one(held)
            held = []
        held.append(path)
    if held:
        yield _one(held)


def _one(paths: list[Path]) -> Path:
    if len(paths) == 1:
        return paths[0]
    return Path(
        np.concatenate([one.at_ms for one in paths]), np.concatenate([one.value for one in paths])
    )
