"""The ribbon of a meal as a shape: pure geometry, drawn elsewhere as SVG or by matplotlib.

Along: days since the meal, one scale for all meals. Up: heights of the quiet ribbon, 0 at the base
line. Below the floor the top edge sinks and the colour is a deeper blue with every degree; above
the hot limit it rises and is a deeper red-brown. Where readings are missing there is no strip.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.exposure import Line
from analysis.figures.bands import Stretch, stretches
from analysis.figures.reduce import paths_of, reduced
from analysis.figures.scale import edge_of
from analysis.words import DAY_MS

SCALE_DAYS = 14.0
"""Days from the left to the right of every ribbon's place: the longest window."""

_AT_THE_END_DAYS = 0.05


@dataclass(frozen=True, slots=True)
class Strip:
    """A part of the ribbon of one colour: a polygon, (days, heights), base line included."""

    step: int
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at a moment, in a word: "handled", "passed"."""

    at_ms: int
    word: str
    ends_it: bool = False
    """True for the outcome: what became of the meal."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on the ribbon. Without a word where the ribbon's end says it already."""

    at_d: float
    word: str
    ends_it: bool = False


@dataclass(frozen=True, slots=True)
class RibbonShape:
    """One meal's ribbon. `missing` are the stretches without readings, in days."""

    length_d: float
    strips: tuple[Strip, ...]
    missing: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]
    ending: str
    expected_d: float | None
    """Where digestion should be through, when that is still ahead."""

    @property
    def top(self) -> float:
        """The highest edge, at least 1."""
        return max([1.0, *(y for strip in self.strips for _, y in strip.points)])


def ribbon_shape(
    line: Line | None,
    start_ms: int,
    end_ms: int,
    *,
    floor_c: float,
    hot_c: float,
    events: Iterable[Event] = (),
    ending: str = "",
    expected_d: float | None = None,
    columns_per_day: float | None = None,
) -> RibbonShape:
    """The ribbon of the warm side `line` over [start_ms, end_ms), the meal being at start_ms.

    None for the line is: no probe, nothing known. `columns_per_day`, where given, drops points
    that a picture of so many columns a day would not show. Events outside the meal's own time to
    SCALE_DAYS are left out.
    """
    span_ms = max(end_ms - start_ms, 0)
    paths = paths_of(line.cut(start_ms, end_ms)) if line is not None and span_ms else []
    if columns_per_day is not None:
        columns = max(1, round(columns_per_day * span_ms / DAY_MS))
        paths = [reduced(path, start_ms, end_ms, columns) for path in paths]
    length_d = span_ms / DAY_MS
    return RibbonShape(
        length_d=length_d,
        strips=tuple(
            _strip(part, start_ms, floor_c, hot_c)
            for path in paths
            for part in stretches(path, floor_c, hot_c)
        ),
        missing=_missing([(p.at_ms[0], p.at_ms[-1]) for p in paths], start_ms, end_ms),
        marks=_marks(events, start_ms, length_d),
        ending=ending,
        expected_d=expected_d if expected_d is not None and expected_d > length_d else None,
    )


def _strip(part: Stretch, start_ms: int, floor_c: float, hot_c: float) -> Strip:
    edge = [((at - start_ms) / DAY_MS, edge_of(c, floor_c, hot_c)) for at, c in part.points]
    if part.step == 0:
        edge = [edge[0], edge[-1]]
    return Strip(part.step, ((edge[0][0], 0.0), *edge, (edge[-1][0], 0.0)))


def _missing(
    known: Sequence[tuple[float, float]], start_ms: int, end_ms: int
) -> tuple[tuple[float, float], ...]:
    ends = [float(start_ms), *(end for _, end in known)]
    starts = [*(start for start, _ in known), float(end_ms)]
    days = (np.array([ends, starts]) - start_ms) / DAY_MS
    return tuple((float(a), float(b)) for a, b in days.T if b > a)


def _marks(events: Iterable[Event], start_ms: int, length_d: float) -> tuple[Mark, ...]:
    marks = []
    for event in sorted(events, key=lambda e: (e.at_ms, e.word)):
        at_d = (event.at_ms - start_ms) / DAY_MS
        if not 0 <= at_d <= max(SCALE_DAYS, length_d):
            continue
        said = event.ends_it and abs(at_d - length_d) <= _AT_THE_END_DAYS
        marks.append(Mark(at_d, "" if said else event.word, event.ends_it))
    return tuple(marks)
