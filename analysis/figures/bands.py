"""A line cut where it passes from one degree to the next: what ribbon and plot both colour."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.figures.reduce import Floats, Path
from analysis.figures.scale import DEGREES, step_of

Point = tuple[float, float]
"""A moment in ms and a temperature in °C."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a line within one step of the scale. `points` are (ms, °C) in time order."""

    step: int
    points: tuple[Point, ...]


def stretches(path: Path, floor_c: float, hot_c: float) -> list[Stretch]:
    """The path cut at the floor, at the hot limit and at every degree beyond them.

    Together the stretches are the path again: each begins where the one before it ended. A step
    in the line ends one stretch and begins the next.
    """
    degrees = np.arange(DEGREES + 1)
    levels = np.concatenate((floor_c - degrees[::-1], hot_c + degrees))
    done: list[Stretch] = []
    step: int | None = None
    points: list[Point] = []
    for a, b in _segments(path, levels):
        here = step_of((a[1] + b[1]) / 2, floor_c, hot_c)
        if here != step or points[-1] != a:
            if step is not None:
                done.append(Stretch(step, tuple(points)))
            step, points = here, [a]
        points.append(b)
    if step is not None:
        done.append(Stretch(step, tuple(points)))
    return done


def _segments(path: Path, levels: Floats) -> Iterator[tuple[Point, Point]]:
    """Straight parts of the path that lie between two neighbouring levels."""
    points = list(zip(path.at_ms.tolist(), path.value.tolist(), strict=True))
    for a, b in itertools.pairwise(points):
        if a[0] == b[0]:
            continue
        yield from _cut(a, b, levels)


def _cut(a: Point, b: Point, levels: Floats) -> Iterator[tuple[Point, Point]]:
    low, high = min(a[1], b[1]), max(a[1], b[1])
    first, end = np.searchsorted(levels, (low, high), side="right")
    crossed = [float(c) for c in levels[first:end] if low < c < high]
    here = a
    for level in crossed if a[1] < b[1] else reversed(crossed):
        share = (level - a[1]) / (b[1] - a[1])
        cut = (a[0] + (b[0] - a[0]) * share, level)
        yield here, cut
        here = cut
    yield here, b
