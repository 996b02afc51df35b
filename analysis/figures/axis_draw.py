"""Time and temperature beside a plot: local days, midnights, nights, the clock, the degrees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from analysis.figures import climate as numbers
from analysis.figures import days
from analysis.figures.climate import Climate, Scale
from analysis.figures.paper import Sheet, width_of
from analysis.figures.scale import HAIRLINE, NIGHT, SOFT_INK
from analysis.words import local_clock, local_day, temperature_unit
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class Frame:
    """A plot being drawn: its axes, what it shows, and its size in points."""

    sheet: Sheet
    axes: Axes
    climate: Climate
    scale: Scale
    settings: Settings
    width: float
    height: float
    letters: float

    def per_ms(self) -> float:
        """Points per millisecond."""
        return self.width / (self.climate.end_ms - self.climate.start_ms)

    def write(self, x: float, y: float, text: str, **more: Any) -> None:
        """Write at a place in shares of the axes, 0 to 1 being within them."""
        more = {"colour": SOFT_INK, "transform": self.axes.transAxes, **more}
        self.sheet.write(x, y, text, self.letters, axes=self.axes, **more)

    def stroke(self, a: tuple[float, float], b: tuple[float, float], colour: str) -> None:
        """A hairline between two places in shares of the axes, also beyond them."""
        self.axes.plot(
            [a[0], b[0]],
            [a[1], b[1]],
            color=colour,
            linewidth=0.7,
            clip_on=False,
            transform=self.axes.transAxes,
        )

    def below(self, at_ms: float, row: int, text: str) -> None:
        """Write under the axes, centred at a moment."""
        x = (at_ms - self.climate.start_ms) * self.per_ms() / self.width
        y = -(1.2 + 1.3 * row) * self.letters / self.height
        self.write(x, y, text, horizontalalignment="center")


def draw_days(frame: Frame) -> None:
    """Shade the nights, draw the midnights, name the days."""
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    for a, b in days.nights(start, end, zone):
        frame.axes.axvspan(
            frame.scale.x(a),
            frame.scale.x(b),
            facecolor=NIGHT,
            linewidth=0,
            zorder=0.2,
            label="night",
        )
    for at in days.midnights(start, end, zone):
        frame.axes.axvline(
            frame.scale.x(at), color=HAIRLINE, linewidth=0.7, zorder=0.5, label="midnight"
        )
    if numbers.is_short(frame.climate):
        _name_hours(frame)
    else:
        _name_days(frame)


def _name_days(frame: Frame) -> None:
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    seen = days.local_days(start, end, zone)
    rows, widest = _day_rows(frame.climate, frame.width, frame.letters)
    step = math.ceil(widest / (days.DAY_MS * frame.per_ms()))
    for day in days.named_days(seen, start, end, step):
        middle = (max(day.start_ms, start) + min(day.end_ms, end)) / 2
        name = local_day((day.start_ms + day.end_ms) // 2, zone)
        for row, part in enumerate([name] if rows == 1 else name.split(" ", 1)):
            frame.below(middle, row, part)


def _day_rows(climate: Climate, width: float, letters: float) -> tuple[int, float]:
    """On how many rows a day is named, and how wide that is at most."""
    one_row = width_of("Wed 28 May", letters) + 0.5 * letters
    day_width = days.DAY_MS * width / (climate.end_ms - climate.start_ms)
    if one_row <= day_width:
        return 1, one_row
    return 2, width_of("28 May", letters) + 0.5 * letters


def rows_below(climate: Climate, width: float, letters: float) -> int:
    """How many rows of words stand under the axes."""
    if numbers.is_short(climate):
        return 2
    return _day_rows(climate, width, letters)[0]


def _name_hours(frame: Frame) -> None:
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    most = frame.width // (width_of("00:00", frame.letters) + 8)
    step = numbers.clock_step(end - start, int(most))
    for at in days.clock_hours(start, end, zone, step):
        half = width_of("00:00", frame.letters) / 2
        if (at - start) * frame.per_ms() >= half and (end - at) * frame.per_ms() >= half:
            frame.below(at, 0, local_clock(at, zone))
    for day in days.local_days(start, end, zone):
        a, b = max(day.start_ms, start), min(day.end_ms, end)
        name = local_day((a + b) // 2, zone)
        if (b - a) * frame.per_ms() >= width_of(name, frame.letters) + 4:
            frame.below((a + b) / 2, 1, name)


def draw_temperatures(frame: Frame) -> None:
    """Round degrees at the left, with the unit at the highest of them."""
    low, high = frame.axes.get_ylim()
    frame.axes.set_xticks([])
    frame.axes.set_yticks([])
    for side in ("top", "right", "left"):
        frame.axes.spines[side].set_visible(False)
    frame.axes.spines["bottom"].set_color(HAIRLINE)
    ticks = numbers.temperature_ticks(low, high)
    for at in ticks:
        frame.axes.axhline(at, color=HAIRLINE, linewidth=0.4, zorder=0.6, label="degree")
        text = f"{at:.0f}".replace("-", "−")
        unit = f" {temperature_unit(frame.settings)}" if at == ticks[-1] else ""
        y = (at - low) / (high - low) - 0.36 * frame.letters / frame.height
        frame.write(-0.4 * frame.letters / frame.width, y, text + unit, horizontalalignment="right")
