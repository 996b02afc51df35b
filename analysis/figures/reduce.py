"""Fewer points for the same picture: what a line shows in every pixel column is kept.

Of each column the first, lowest, highest and last point stay, and nothing is averaged; so every
dip keeps its depth, and a line drawn through the points that are left covers the same pixels
(Jugel, Jerzak, Hackenbroich & Markl 2014, M4, Proc. VLDB Endow. 7:797; from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.exposure import Line

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Path:
    """One unbroken stretch of a line: its points in time order. Equal times are a step."""

    at_ms: Floats
    value: Floats


def paths_of(line: Line) -> list[Path]:
    """The unbroken stretches of a line; between two of them nothing is known."""
    count = len(line.start_ms)
    if count == 0:
        return []
    breaks = np.flatnonzero(line.start_ms[1:] > line.end_ms[:-1]) + 1
    edges = [0, *breaks.tolist(), count]
    return [_path(line, a, b) for a, b in itertools.pairwise(edges)]


def _path(line: Line, first: int, end: int) -> Path:
    part = slice(first, end)
    at_ms = np.column_stack((line.start_ms[part], line.end_ms[part])).ravel()
    value = np.column_stack((line.start_c[part], line.end_c[part])).ravel()
    # A piece that begins where the one before it ended says nothing new.
    new = np.ones(len(at_ms), dtype=bool)
    new[1:] = (np.diff(at_ms) != 0) | (np.diff(value) != 0)
    return Path(at_ms[new].astype(np.float64), value[new].astype(np.float64))


def reduced(path: Path, start_ms: float, end_ms: float, columns: int) -> Path:
    """The path's points that a picture `columns` wide over [start_ms, end_ms) needs.

    At most four a column, each a point of the path itself. Points outside the picture are taken
    as columns of the same width.
    """
    if len(path.at_ms) <= 4:
        return path
    column = np.floor((path.at_ms - start_ms) * columns / (end_ms - start_ms))
    first = np.flatnonzero(np.diff(column, prepend=-np.inf))
    last = np.append(first[1:], len(column)) - 1
    kept = np.unique(np.concatenate((first, *_extremes(path.value, column), last)))
    return Path(path.at_ms[kept], path.value[kept])


def _extremes(value: Floats, column: Floats) -> Iterator[NDArray[np.intp]]:
    """Where the lowest and the highest point of every column stand."""
    first = np.diff(column, prepend=-np.inf) != 0
    by_value = np.lexsort((value, column))
    starts = np.flatnonzero(first)
    yield by_value[starts]
    yield by_value[np.append(starts[1:], len(column)) - 1]
