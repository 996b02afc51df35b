"""What a plot of an enclosure shows, in numbers: axes, breaks, ends of lines. No drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.exposure import Line
from analysis.figures.bands import Stretch, stretches
from analysis.figures.reduce import Floats, Path, paths_of, reduced
from analysis.figures.ribbon import Event
from analysis.words import HOUR_MS, shown_temperature
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class Climate:
    """The temperatures of an enclosure over [start_ms, end_ms). A line is None without a probe."""

    start_ms: int
    end_ms: int
    warm: Line | None
    cool: Line | None = None
    room: Line | None = None
    floor_c: float = 28.0
    hot_c: float = 36.0
    lower_limits_c: tuple[float, ...] = ()
    events: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class Scale:
    """From moments and temperatures to the plot's axes: hours since the start, the shown unit."""

    start_ms: int
    settings: Settings

    def x(self, at_ms: float) -> float:
        """Hours since the plot's start."""
        return (at_ms - self.start_ms) / HOUR_MS

    def y(self, value_c: float) -> float:
        """The temperature in the keeper's unit."""
        return shown_temperature(value_c, self.settings)

    def broken_line(self, paths: Sequence[Path]) -> tuple[Floats, Floats]:
        """Paths as one polyline that breaks (NaN) between them."""
        if not paths:
            return np.empty(0), np.empty(0)
        gap = np.array([np.nan])
        at = np.concatenate([part for p in paths for part in (p.at_ms, gap)])[:-1]
        value = np.concatenate([part for p in paths for part in (p.value, gap)])[:-1]
        fahrenheit = self.settings.show.temperature == "degF"
        return (at - self.start_ms) / HOUR_MS, value * 1.8 + 32 if fahrenheit else value


@dataclass(frozen=True, slots=True)
class Track:
    """One line of the plot, cut to it and reduced."""

    name: str
    paths: list[Path] = field(default_factory=list)

    @property
    def last_c(self) -> float | None:
        """Where the line ends, in °C."""
        return float(self.paths[-1].value[-1]) if self.paths else None

    @property
    def extent_c(self) -> tuple[float, float] | None:
        """Its lowest and highest point, in °C."""
        if not self.paths:
            return None
        lows, highs = zip(*((p.value.min(), p.value.max()) for p in self.paths), strict=True)
        return float(min(lows)), float(max(highs))


def track(name: str, line: Line | None, climate: Climate, columns: int) -> Track | None:
    """The line as a picture `columns` wide needs it; None without a probe."""
    if line is None:
        return None
    start, end = climate.start_ms, climate.end_ms
    paths = [reduced(p, start, end, columns) for p in paths_of(line.cut(start, end))]
    return Track(name, paths)


def gaps(found: Track, climate: Climate) -> list[tuple[float, float]]:
    """Where the track knows nothing, in ms."""
    ends = [float(climate.start_ms), *(float(p.at_ms[-1]) for p in found.paths)]
    starts = [*(float(p.at_ms[0]) for p in found.paths), float(climate.end_ms)]
    return [(a, b) for a, b in zip(ends, starts, strict=True) if b > a]


def beyond(found: Track, climate: Climate) -> list[Stretch]:
    """The stretches of the track below the floor or above the hot limit."""
    cut = (stretches(path, climate.floor_c, climate.hot_c) for path in found.paths)
    return [part for parts in cut for part in parts if part.step != 0]


def range_c(tracks: Sequence[Track], climate: Climate) -> tuple[float, float]:
    """Lowest and highest temperature of the plot in °C: all lines, floor and limit in it."""
    extents = [extent for found in tracks if (extent := found.extent_c) is not None]
    low = min([climate.floor_c - 3.0, *(a for a, _ in extents)])
    high = max([climate.hot_c, *(b for _, b in extents)])
    return low - 1.0, high + 1.0


def limits_reached(found: Track | None, climate: Climate) -> list[float]:
    """The lower limits that the track went below: the others would only be lines too many."""
    extent = found.extent_c if found is not None else None
    if extent is None:
        return []
    return [level for level in climate.lower_limits_c if extent[0] < level]


def temperature_ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round numbers within [low, high] in the shown unit, at most `most` of them."""
    for step in (1, 2, 5, 10, 20, 50, 100):
        first = math.ceil(low / step)
        ticks = [float(n * step) for n in range(first, math.floor(high / step) + 1)]
        if len(ticks) <= most:
            return ticks
    return []


def clock_step(span_ms: int, most: int) -> int:
    """Every how many hours the clock is written so that at most about `most` times stand."""
    span_h = span_ms / HOUR_MS
    return next((step for step in (1, 2, 3, 4, 6, 12) if span_h / step <= most), 24)


def is_short(climate: Climate) -> bool:
    """True when hours tell more than days: a day and a half or less."""
    return climate.end_ms - climate.start_ms <= 36 * HOUR_MS
