"""What the warm side of a window came to: coverage, and time and degree-hours beyond each level."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.exposure import HOUR_MS, Line
from analysis.summary import summary
from analysis.window import Window
from config.care import CareProfile


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of the window is known. `share` is 0 for a window of no length."""

    known_hours: float
    share: float
    longest_gap_hours: float


@dataclass(frozen=True, slots=True)
class Below:
    """Time below a level over the whole window, as known and with every gap taken as cold."""

    below_c: float
    hours: float
    hours_if_gaps_cold: float
    degree_hours: float
    longest_spell_hours: float
    longest_spell_if_gaps_cold: float


@dataclass(frozen=True, slots=True)
class Above:
    """Known time above a level over the whole window."""

    above_c: float
    hours: float
    degree_hours: float


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Figures in °C over known time, None where nothing is known."""

    min_c: float | None
    mean_c: float | None
    median_c: float | None
    max_c: float | None


@dataclass(frozen=True, slots=True)
class WarmSide(Temperatures):
    """The warm side's figures, one `below` and `above` per level of the care profile."""

    below: tuple[Below, ...]
    above: tuple[Above, ...]


@dataclass(frozen=True, slots=True)
class Humidity:
    """Figures in %RH over known time, None where nothing is known."""

    min_pct: float | None
    mean_pct: float | None
    median_pct: float | None
    max_pct: float | None


def coverage(line: Line, window: Window) -> Coverage:
    """How much of the window the line knows."""
    starts, ends = line.gaps(window.start_ms, window.end_ms)
    return Coverage(
        known_hours=line.known_hours,
        share=line.known_hours / window.hours if window.hours else 0.0,
        longest_gap_hours=float((ends - starts).max()) / HOUR_MS if len(starts) else 0.0,
    )


def temperatures(line: Line) -> Temperatures:
    """The figures of a line in °C."""
    of = summary(line)
    return Temperatures(of.low, of.mean, of.median, of.high)


def humidity(line: Line) -> Humidity:
    """The figures of a line in %RH."""
    of = summary(line)
    return Humidity(of.low, of.mean, of.median, of.high)


def warm_side(line: Line, window: Window, care: CareProfile) -> WarmSide:
    """All figures of the warm side's line over its window."""
    of = summary(line)
    cold = line.gaps_cold(window.start_ms, window.end_ms)
    hot = line.upside_down()
    return WarmSide(
        of.low,
        of.mean,
        of.median,
        of.high,
        below=tuple(_below(line, cold, level_c) for level_c in care.levels_c("below")),
        above=tuple(
            Above(level_c, hot.hours_below(-level_c), hot.degree_hours_below(-level_c))
            for level_c in care.levels_c("above")
        ),
    )


def _below(line: Line, cold: Line, level_c: float) -> Below:
    return Below(
        below_c=level_c,
        hours=line.hours_below(level_c),
        hours_if_gaps_cold=cold.hours_below(level_c),
        degree_hours=line.degree_hours_below(level_c),
        longest_spell_hours=longest_hours(line, level_c),
        longest_spell_if_gaps_cold=longest_hours(cold, level_c),
    )


def longest_hours(line: Line, level_c: float) -> float:
    """The longest spell below a level in h, 0 when there is none."""
    spell = line.longest_spell_below(level_c)
    return spell.hours if spell is not None else 0.0
