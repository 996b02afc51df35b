"""Reduction keeps what every pixel column shows: its lowest and highest, its ends, every break."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import NOTHING, Line, line_of
from analysis.figures.reduce import Path, paths_of, reduced
from tests.analysis.lines import GAP_MS, HOUR, MINUTE, T0, lines

COLUMN = 7 * MINUTE


def line_through(path: Path) -> Line:
    """The path as a line: its points joined; steps take no time."""
    at, value = path.at_ms, path.value
    longer = np.diff(at) > 0
    return Line(at[:-1][longer], at[1:][longer], value[:-1][longer], value[1:][longer])


@given(lines())
def test_paths_are_the_line_again(line: Line) -> None:
    paths = paths_of(line)
    pieces = [line_through(path) for path in paths]
    for i, part in enumerate(line.parts):
        whole = np.concatenate([p.parts[i] for p in pieces]) if pieces else np.empty(0)
        assert whole.tolist() == part.tolist()
    for before, after in pairwise(paths):
        assert before.at_ms[-1] < after.at_ms[0]
    for path in paths:
        assert path.at_ms[0] < path.at_ms[-1]


def shown(path: Path, start: float, end: float) -> tuple[float, float]:
    """Lowest and highest that the polyline shows in [start, end), its ways in and out too."""
    points = list(zip(path.at_ms.tolist(), path.value.tolist(), strict=True))
    values = [value for at, value in points if start <= at < end]
    for (t0, a), (t1, b) in pairwise(points):
        values += [
            a + (b - a) * ((edge - t0) / (t1 - t0)) for edge in (start, end) if t0 < edge <= t1
        ]
    return min(values), max(values)


@given(lines(most=120), st.integers(1, 90))
def test_every_column_keeps_its_lowest_and_highest(line: Line, columns: int) -> None:
    for path in paths_of(line):
        fewer = reduced(path, T0, T0 + columns * COLUMN, columns)
        first = int((path.at_ms[0] - T0) // COLUMN)
        last = int((path.at_ms[-1] - T0) // COLUMN)
        for column in range(first, last + 1):
            edges = T0 + column * COLUMN, T0 + (column + 1) * COLUMN
            assert shown(fewer, *edges) == shown(path, *edges)
            inside = (fewer.at_ms >= edges[0]) & (fewer.at_ms < edges[1])
            assert np.count_nonzero(inside) <= 4


@given(lines(most=120), st.integers(1, 90))
def test_it_makes_nothing_up(line: Line, columns: int) -> None:
    for path in paths_of(line):
        fewer = reduced(path, T0, T0 + columns * COLUMN, columns)
        points = list(zip(path.at_ms.tolist(), path.value.tolist(), strict=True))
        kept = list(zip(fewer.at_ms.tolist(), fewer.value.tolist(), strict=True))
        there = iter(points)
        assert all(point in there for point in kept)  # a subsequence: the same points in order
        assert kept[0] == points[0]
        assert kept[-1] == points[-1]


def test_one_reading_in_a_hundred_thousand_is_kept() -> None:
    at_ms = T0 + 10_000 * np.arange(14 * 8640)  # 14 days, every 10 s
    value = np.full(len(at_ms), 31.0)
    value[77_777], value[99_999] = 19.0, 41.0
    (path,) = paths_of(line_of(at_ms, value, GAP_MS))
    fewer = reduced(path, float(at_ms[0]), float(at_ms[-1]), 500)
    assert len(fewer.at_ms) <= 4 * 501
    dip, peak = int(np.argmin(fewer.value)), int(np.argmax(fewer.value))
    assert (fewer.at_ms[dip], fewer.value[dip]) == (at_ms[77_777], 19.0)
    assert (fewer.at_ms[peak], fewer.value[peak]) == (at_ms[99_999], 41.0)


def test_of_nothing_there_is_no_path() -> None:
    assert paths_of(NOTHING) == []


def test_a_gap_narrower_than_a_pixel_stays_a_gap() -> None:
    at_ms = np.array([0, 10, 20, 40, 50, 60]) * MINUTE + T0
    paths = paths_of(line_of(at_ms, np.full(6, 31.0), GAP_MS))
    fewer = [reduced(path, T0, T0 + 500 * HOUR, 10) for path in paths]
    assert [(p.at_ms[0] - T0, p.at_ms[-1] - T0) for p in fewer] == [
        (0, pytest.approx(20 * MINUTE)),
        (40 * MINUTE, 60 * MINUTE),
    ]
