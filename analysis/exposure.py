"""The line between readings, and what can be read off it exactly: pure, vectorised.

A `Line` is a quantity over time as straight pieces. Where there is no piece nothing is known, and
nothing is filled in. Every figure is exact for the line: crossings are solved, areas are triangles
and trapezia, and no grid is laid over time. Times are ms since 1970 (whole numbers in practice;
float64 holds them to a quarter of a microsecond), values °C or %RH, results hours.

- Below a level means less than it; a line that touches it is not below. So a spell below ends when
  the line is back at or above the level, be it for an instant.
- Contiguous pieces may step, where a second probe of the zone begins or ends to count. A spell runs
  on across a step when the line is below on both sides of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

HOUR_MS = 3_600_000.0


@dataclass(frozen=True)
class Spell:
    """One unbroken stretch below (or above) a level: [start_ms, end_ms]."""

    start_ms: float
    end_ms: float

    @property
    def hours(self) -> float:
        """Its length in h."""
        return (self.end_ms - self.start_ms) / HOUR_MS


@dataclass(frozen=True, eq=False)
class Line:
    """Straight pieces in time order, each longer than nothing, none overlapping another.

    Piece i runs from (start_ms[i], start_c[i]) to (end_ms[i], end_c[i]). Two pieces are contiguous
    when one's end_ms is exactly the other's start_ms; between others nothing is known.
    """

    start_ms: Floats
    end_ms: Floats
    start_c: Floats
    end_c: Floats

    # ---- the pieces -------------------------------------------------------------------------

    def __len__(self) -> int:
        """Number of pieces."""
        return len(self.start_ms)

    @cached_property
    def length_ms(self) -> Floats:
        """Length of each piece."""
        return self.end_ms - self.start_ms

    @cached_property
    def low_c(self) -> Floats:
        """Lowest value of each piece."""
        return np.minimum(self.start_c, self.end_c)

    @cached_property
    def high_c(self) -> Floats:
        """Highest value of each piece."""
        return np.maximum(self.start_c, self.end_c)

    @cached_property
    def lowest_c(self) -> float:
        """Lowest value of all, infinite when nothing is known."""
        return float(self.low_c.min(initial=np.inf))

    @cached_property
    def known_ms(self) -> float:
        """Known time."""
        return float(self.length_ms.sum())

    @property
    def known_hours(self) -> float:
        """Known time in h."""
        return self.known_ms / HOUR_MS

    def value_at(self, at_ms: float) -> float | None:
        """The value at a moment, None where nothing is known. At a step, the later side's."""
        i = int(np.searchsorted(self.start_ms, at_ms, side="right")) - 1
        if i < 0 or at_ms > self.end_ms[i]:
            return None
        return self._on(i, at_ms)

    # ---- other lines ------------------------------------------------------------------------

    def cut(self, from_ms: float, until_ms: float) -> Line:
        """The part within [from_ms, until_ms]; a piece across an edge ends there, on the line."""
        first = int(np.searchsorted(self.end_ms, from_ms, side="right"))
        end = int(np.searchsorted(self.start_ms, until_ms, side="left"))
        if end <= first:
            return NOTHING
        part = slice(first, end)
        inner = Line(self.start_ms[part], self.end_ms[part], self.start_c[part], self.end_c[part])
        if inner.start_ms[0] >= from_ms and inner.end_ms[-1] <= until_ms:
            return inner
        return inner._trimmed(from_ms, until_ms)

    def _trimmed(self, from_ms: float, until_ms: float) -> Line:
        new = Line(*(part.copy() for part in self.parts))
        if self.start_ms[0] < from_ms:
            new.start_ms[0], new.start_c[0] = from_ms, self._on(0, from_ms)
        if self.end_ms[-1] > until_ms:
            new.end_ms[-1], new.end_c[-1] = until_ms, self._on(-1, until_ms)
        return new

    def _on(self, i: int, at_ms: float) -> float:
        # As `_between`, for one moment: an array of one takes ten times as long.
        start_ms, end_ms, a, b = (float(part[i]) for part in self.parts)
        if at_ms == end_ms:
            return b
        inside = a + (b - a) * ((at_ms - start_ms) / (end_ms - start_ms))
        return min(max(inside, min(a, b)), max(a, b))

    @property
    def parts(self) -> tuple[Floats, Floats, Floats, Floats]:
        """The four arrays, in the order of the fields."""
        return self.start_ms, self.end_ms, self.start_c, self.end_c

    def gaps(self, from_ms: float, until_ms: float) -> tuple[Floats, Floats]:
        """Starts and ends of the unknown stretches of [from_ms, until_ms]; the line lies in it."""
        starts = np.concatenate(([from_ms], self.end_ms))
        ends = np.concatenate((self.start_ms, [until_ms]))
        gap = ends > starts
        return starts[gap], ends[gap]

    def gaps_cold(self, from_ms: float, until_ms: float) -> Line:
        """This line with every unknown stretch of [from_ms, until_ms] colder than any level.

        Only times and spells below a level can be read off it.
        """
        starts, ends = self.gaps(from_ms, until_ms)
        if not len(starts):
            return self
        place = np.searchsorted(self.start_ms, starts)
        return Line(
            np.insert(self.start_ms, place, starts),
            np.insert(self.end_ms, place, ends),
            np.insert(self.start_c, place, -np.inf),
            np.insert(self.end_c, place, -np.inf),
        )

    def upside_down(self) -> Line:
        """The line with every value negated: above a level becomes below its negative."""
        return Line(self.start_ms, self.end_ms, -self.start_c, -self.end_c)

    # ---- below a level ----------------------------------------------------------------------

    def hours_below(self, level_c: float) -> float:
        """Time that the line is below the level, in h."""
        return self.ms_below(level_c) / HOUR_MS

    def ms_below(self, level_c: float) -> float:
        """Time that the line is below the level, in ms."""
        part = self._reaching_below(level_c)
        if not len(part):
            return 0.0
        low, high = self.low_c[part] - level_c, self.high_c[part] - level_c
        return float((self.length_ms[part] * _share_below(low, high)).sum())

    def degree_hours_below(self, level_c: float) -> float:
        """Integral of (level − value) over the time below it, in K·h."""
        part = self._reaching_below(level_c)
        if not len(part):
            return 0.0
        low, high = self.low_c[part] - level_c, self.high_c[part] - level_c
        depth = -(low + np.minimum(high, 0.0)) / 2.0  # of the part below, on average
        return float((self.length_ms[part] * _share_below(low, high) * depth).sum()) / HOUR_MS

    def spells_below(self, level_c: float) -> tuple[Floats, Floats]:
        """Starts and ends of the spells below the level, in ms, in time order."""
        part = self._reaching_below(level_c)
        if not len(part):
            return np.empty(0), np.empty(0)
        a, b = self.start_c[part] - level_c, self.end_c[part] - level_c
        start, end, length = self.start_ms[part], self.end_ms[part], self.length_ms[part]
        # Both ends below: the whole piece; else from or to the crossing, and a touch is one.
        falls, rises = a >= 0.0, b >= 0.0
        starts, ends = start.copy(), end.copy()
        starts[falls] += length[falls] * (a[falls] / (a[falls] - b[falls]))
        ends[rises] = start[rises] + length[rises] * (a[rises] / (a[rises] - b[rises]))
        new = np.ones(len(part), dtype=np.bool_)
        new[1:] = (start[1:] != end[:-1]) | rises[:-1] | falls[1:]
        first = np.flatnonzero(new)
        last = np.append(first[1:], len(part)) - 1
        return starts[first], ends[last]

    def longest_spell_below(self, level_c: float) -> Spell | None:
        """The longest spell below the level, of equal ones the first; None when it is never."""
        starts, ends = self.spells_below(level_c)
        if not len(starts):
            return None
        i = int(np.argmax(ends - starts))
        return Spell(float(starts[i]), float(ends[i]))

    def _reaching_below(self, level_c: float) -> NDArray[np.intp]:
        if self.lowest_c >= level_c:
            return np.empty(0, dtype=np.intp)
        return np.flatnonzero(self.low_c < level_c)


NOTHING = Line(*(np.empty(0) for _ in range(4)))
"""The line of which nothing is known."""


def _share_below(low: Floats, high: Floats) -> Floats:
    """Share of each piece below 0, of pieces that do reach below it (low < 0)."""
    share = np.ones(len(low))
    crossing = high > 0.0
    low, high = low[crossing], high[crossing]
    share[crossing] = -low / (high - low)
    return share


# ---- making lines ---------------------------------------------------------------------------


def line_of(at_ms: ArrayLike, value: ArrayLike, gap_ms: float) -> Line:
    """The line through readings in time order, no time twice.

    Neighbours no more than `gap_ms` apart are joined; a reading with no neighbour that near is not
    on the line: it lasts no time.
    """
    at = np.asarray(at_ms, dtype=np.float64)
    values = np.asarray(value, dtype=np.float64)
    joined = np.diff(at) <= gap_ms
    if joined.all():
        return Line(at[:-1], at[1:], values[:-1], values[1:])
    return Line(at[:-1][joined], at[1:][joined], values[:-1][joined], values[1:][joined])


def mean_of(lines: Iterable[Line]) -> Line:
    """At every moment the mean of those lines that are known then.

    The pieces are cut wherever a line has a corner, so the mean is exact. Where one begins or
    ends, it may step.
    """
    known = sorted((line for line in lines if len(line)), key=lambda line: float(line.start_ms[0]))
    if len(known) <= 1:
        return known[0] if known else NOTHING
    if all(a.end_ms[-1] <= b.start_ms[0] for a, b in pairwise(known)):
        return Line(*map(np.concatenate, zip(*(line.parts for line in known), strict=True)))
    grid = _corners(known)
    count, start, end = np.zeros((3, len(grid) - 1))
    for line in known:
        there, a, b = _on_grid(line, grid)
        count[there] += 1
        start[there] += a
        end[there] += b
    some = count > 0
    count = count[some]
    return Line(grid[:-1][some], grid[1:][some], start[some] / count, end[some] / count)


def difference(a: Line, b: Line) -> Line:
    """a − b where both are known."""
    if not len(a) or not len(b):
        return NOTHING
    grid = _corners((a, b))
    there_a, *ends_a = _on_grid(a, grid)
    there_b, *ends_b = _on_grid(b, grid)
    both, in_a, in_b = np.intersect1d(there_a, there_b, assume_unique=True, return_indices=True)
    start, end = (x[in_a] - y[in_b] for x, y in zip(ends_a, ends_b, strict=True))
    return Line(grid[both], grid[both + 1], start, end)


def _corners(lines: Iterable[Line]) -> Floats:
    """Every time at which a piece of a line begins or ends."""
    return np.unique(np.concatenate([ends for line in lines for ends in line.parts[:2]]))


def _on_grid(line: Line, grid: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Which cells of the grid the line covers, and its values at their two ends.

    Every corner of the line is on the grid, so a cell is covered as a whole or not at all.
    """
    piece = np.searchsorted(line.start_ms, grid[:-1], side="right") - 1
    there = np.flatnonzero((piece >= 0) & (line.end_ms[piece] >= grid[1:]))
    i = piece[there]
    return there, _between(line, i, grid[there]), _between(line, i, grid[there + 1])


def _between(line: Line, i: NDArray[np.intp], at_ms: Floats) -> Floats:
    """Values of the pieces i at moments within them.

    Never outside the piece's own two values by a rounding: 28.0 to 28.0 is not below 28.
    """
    a, b = line.start_c[i], line.end_c[i]
    inside = a + (b - a) * ((at_ms - line.start_ms[i]) / line.length_ms[i])
    exact = np.where(at_ms == line.end_ms[i], b, inside)
    return np.clip(exact, np.minimum(a, b), np.maximum(a, b))
