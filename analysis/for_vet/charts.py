"""The charts of the paper: a zone day by day, and the mass. In ink alone, for a grey printer.

A day is a grey bar from its lowest to its highest value, the line its mean; where a day is not
known there is neither. The floor is drawn with its number.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from analysis.figures.paper import Sheet
from analysis.figures.scale import HAIRLINE, INK, SOFT_INK
from analysis.figures.sheets import MARGIN, SMALL, WIDTH
from analysis.for_vet.days import DayFigures, months_of
from analysis.weights import Weight
from analysis.words import (
    GRAMS_PER_OUNCE,
    local_day,
    local_day_of,
    mass,
    shown_temperature,
    temperature,
    temperature_unit,
)
from config.settings import Settings

_LEFT, _RIGHT, _BELOW = 44.0, 70.0, 14.0
_BAND, _MARK = "#c9c5bd", 3.2
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def draw_days(
    sheet: Sheet,
    top: float,
    height: float,
    days: Sequence[DayFigures],
    settings: Settings,
    *,
    name: str,
    floor_c: float | None = None,
    damp: bool = False,
) -> None:
    """A zone's days as bars with their means; `damp`: in %RH, 0 to 100."""
    axes = _axes(sheet, top, height, days[0].start_ms, days[-1].end_ms)

    def shown(value: float) -> float:
        return value if damp else shown_temperature(value, settings)

    known = [(d.start_ms, d.end_ms, d.low, d.mean, d.high) for d in days if d.mean is not None]
    bars = [
        [(a, shown(low)), (b, shown(low)), (b, shown(high)), (a, shown(high))]
        for a, b, low, _, high in known
        if low is not None and high is not None
    ]
    axes.add_collection(
        PolyCollection(
            bars, facecolors=_BAND, edgecolors=_BAND, linewidths=0.3, label=f"{name} days"
        )
    )
    for a, b, _, mean, _ in known:
        if mean is not None:
            axes.plot([a, b], [shown(mean)] * 2, color=INK, linewidth=1.0, solid_capstyle="butt")
    ends = [shown(v) for _, _, low, _, high in known for v in (low, high) if v is not None]
    if floor_c is not None:
        ends.append(shown(floor_c))
        axes.axhline(shown(floor_c), color=INK, linewidth=0.8, dashes=(4, 2))
    low, high = (0.0, 100.0) if damp else (min(ends) - 0.5, max(ends) + 0.5)
    axes.set_ylim(low, high)
    if floor_c is not None:
        _beside(sheet, axes, shown(floor_c), f"floor {temperature(floor_c, settings)}")
    unit = "%" if damp else temperature_unit(settings)
    _degrees(sheet, axes, unit)
    _name_months(sheet, axes, days, settings)


def draw_masses(
    sheet: Sheet, top: float, height: float, masses: Sequence[Weight], settings: Settings
) -> None:
    """Masses over time; a ring was weighed with a meal inside, a dot without."""
    start, end = masses[0].at_ms, max(masses[-1].at_ms, masses[0].at_ms + 86_400_000)
    axes = _axes(sheet, top, height, start, end)
    size = GRAMS_PER_OUNCE if settings.show.mass == "oz" else 1.0
    empty = [one for one in masses if not one.fed]
    axes.plot(
        [m.at_ms for m in empty], [m.mass_g / size for m in empty], color=SOFT_INK, linewidth=0.8
    )
    for fed in (False, True):
        some = [one for one in masses if one.fed is fed]
        axes.plot(
            [m.at_ms for m in some], [m.mass_g / size for m in some],
            linestyle="none", marker="o", markersize=_MARK, markeredgecolor=INK, clip_on=False,
            markeredgewidth=0.8, markerfacecolor="white" if fed else INK, label=f"fed {fed}",
        )  # fmt: skip
    values = [one.mass_g / size for one in masses]
    room = max(0.08 * (max(values) - min(values)), 0.02 * max(values))
    axes.set_ylim(min(values) - room, max(values) + room)
    _beside(sheet, axes, values[-1], mass(masses[-1].mass_g, settings))
    _degrees(sheet, axes, settings.show.mass)
    for at_ms, side in ((start, "left"), (end, "right")):
        _under(sheet, axes, at_ms, _dated(at_ms, settings), side)


def _dated(at_ms: int, settings: Settings) -> str:
    return f"{local_day(at_ms, settings.zone)} {local_day_of(at_ms, settings.zone).year}"


def _axes(sheet: Sheet, top: float, height: float, start_ms: int, end_ms: int) -> Axes:
    axes = sheet.axes(MARGIN + _LEFT, top + 4, WIDTH - _LEFT - _RIGHT, height - _BELOW - 8)
    axes.set_xlim(start_ms, end_ms)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(HAIRLINE)
    return axes


def _degrees(sheet: Sheet, axes: Axes, unit: str) -> None:
    """Round numbers at the left, the unit at the highest."""
    low, high = axes.get_ylim()
    ticks = _round_ticks(low, high)
    for at in ticks:
        axes.axhline(at, color=HAIRLINE, linewidth=0.4, zorder=0.5)
        text = f"{at:,.0f}".replace("-", "−") + (f" {unit}" if at == ticks[-1] else "")
        sheet.write(
            -0.01, (at - low) / (high - low), text, SMALL, axes=axes, colour=SOFT_INK,
            transform=axes.transAxes, horizontalalignment="right", verticalalignment="center",
        )  # fmt: skip


def _round_ticks(low: float, high: float, most: int = 5) -> list[float]:
    for step in (s * 10**e for e in range(7) for s in (1, 2, 5)):
        found = [float(n * step) for n in range(-int(-low // step), int(high // step) + 1)]
        if len(found) <= most:
            return found
    return []


def _beside(sheet: Sheet, axes: Axes, value: float, text: str) -> None:
    low, high = axes.get_ylim()
    sheet.write(
        1.01, (value - low) / (high - low), text, SMALL, axes=axes,
        transform=axes.transAxes, verticalalignment="center",
    )  # fmt: skip


def _under(sheet: Sheet, axes: Axes, at_ms: float, text: str, side: str = "left") -> None:
    start, end = axes.get_xlim()
    height = axes.get_position().height * sheet.height
    sheet.write(
        (at_ms - start) / (end - start), -(SMALL + 3) / height, text, SMALL, axes=axes,
        colour=SOFT_INK, transform=axes.transAxes, horizontalalignment=side,
    )  # fmt: skip


def _name_months(sheet: Sheet, axes: Axes, days: Sequence[DayFigures], settings: Settings) -> None:
    """A line where a month begins, and its name where there is room."""
    months = months_of(days, settings)
    wide = (WIDTH - _LEFT - _RIGHT) / max(1, (days[-1].end_ms - days[0].start_ms))
    free_ms = 0.0
    for day, one in months:
        if one.start_ms > days[0].start_ms:
            axes.axvline(one.start_ms, color=HAIRLINE, linewidth=0.5, zorder=0.4)
        text = month_name(day)
        if one.start_ms >= free_ms and (days[-1].end_ms - one.start_ms) * wide > 6 * SMALL * 0.6:
            _under(sheet, axes, one.start_ms, text)
            free_ms = one.start_ms + (len(text) + 1) * SMALL * 0.62 / wide


def month_name(day: date) -> str:
    """ "Mar 2026"."""
    return f"{_MONTHS[day.month - 1]} {day.year}"
