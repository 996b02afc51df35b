"""Time and temperature beside a plot: local days, midnights, nights, the clock, the degrees."""

from __future__ import annotations

from dataclasses import dataclass

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

    def below(self, x: float, row: float, text: str) -> None:
        """Write under the axes, centred at x (hours)."""
        self.sheet.write(
            x,
            -(1.15 + 1.2 * row) * self.letters / self.height,
            text,
            self.letters,
            axes=self.axes,
            colour=SOFT_INK,
            horizontalalignment="center",
            transform=self.axes.get_xaxis_transform(),
        )


def draw_days(frame: Frame) -> None:
    """Shade the nights, draw the midnights, name the days."""
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    for a, b in days.nights(start, end, zone):
        frame.axes.axvspan(
            frame.scale.x(a), frame.scale.x(b), facecolor=NIGHT, linewidth=0, label="night"
        )
    for at in days.midnights(start, end, zone):
        frame.axes.axvline(frame.scale.x(at), color=HAIRLINE, linewidth=0.7, label="midnight")
    if numbers.is_short(frame.climate):
        _name_hours(frame)
    else:
        _name_days(frame)


def _name_days(frame: Frame) -> None:
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    seen = days.local_days(start, end, zone)
    one_line = width_of("Wed 28 May", frame.letters) + 4
    day_width = 86_400_000 * frame.per_ms()
    lines = 1 if one_line <= day_width else 2
    widest = one_line if lines == 1 else width_of("28 May", frame.letters) + 5
    step = max(1.0, -(-widest // day_width))
    most = int(len(seen) // step)
    for day in days.named_days(seen, start, end, max(1, most)):
        middle = (max(day.start_ms, start) + min(day.end_ms, end)) / 2
        name = local_day((day.start_ms + day.end_ms) // 2, zone)
        parts = [name] if lines == 1 else name.split(" ", 1)
        for row, part in enumerate(parts):
            frame.below(frame.scale.x(middle), row, part)


def _name_hours(frame: Frame) -> None:
    start, end, zone = frame.climate.start_ms, frame.climate.end_ms, frame.settings.zone
    most = frame.width // (width_of("00:00", frame.letters) + 8)
    step = numbers.clock_step(end - start, int(most))
    for at in days.clock_hours(start, end, zone, step):
        half = width_of("00:00", frame.letters) / 2
        if (at - start) * frame.per_ms() >= half and (end - at) * frame.per_ms() >= half:
            frame.below(frame.scale.x(at), 0, local_clock(at, zone))
    for day in days.local_days(start, end, zone):
        a, b = max(day.start_ms, start), min(day.end_ms, end)
        name = local_day((a + b) // 2, zone)
        if (b - a) * frame.per_ms() >= width_of(name, frame.letters) + 4:
            frame.below(frame.scale.x((a + b) / 2), 1, name)


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
        frame.sheet.write(
            -0.4 * frame.letters / frame.width,
            (at - low) / (high - low) - 0.36 * frame.letters / frame.height,
            text + unit,
            frame.letters,
            axes=frame.axes,
            colour=SOFT_INK,
            horizontalalignment="right",
            transform=frame.axes.transAxes,
        )
