"""Temperatures and humidity on the paper: day by day, and the months in figures."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.figures.paper import Sheet
from analysis.figures.sheets import BODY, Column, Draw, Sheets
from analysis.for_vet.charts import draw_days, month_name
from analysis.for_vet.days import (
    COOL,
    HIDE,
    HOT_SPOT,
    HUMIDITY,
    ROOM,
    WARM,
    DayFigures,
    months_of,
)
from analysis.for_vet.report import VetReport
from analysis.words import NOT_KNOWN, hours, temperature

_DAYS_HIGH = 82.0


def draw_temperatures(sheets: Sheets, of: VetReport) -> None:
    """Each zone's days, then its months."""
    floor = temperature(of.floor_c, of.settings)
    sheets.heading("Temperatures and humidity", room=_DAYS_HIGH + 8 * BODY)
    sheets.words(
        "Where it lived, whatever it ate. A grey bar is a day from its lowest to its highest "
        f"value, the line in it its mean; the floor of the warm side is {floor}. A day without a "
        "reading is left out.",
        soft=True,
    )
    for name in (WARM, COOL, HOT_SPOT, HIDE, HUMIDITY, ROOM):
        zone = of.zones[name]
        if zone.known_h <= 0:
            continue
        sheets.need(_DAYS_HIGH + 3 * BODY)
        sheets.small_heading(f"{upper(name)}: {_figures(zone.whole, of, damp=name == HUMIDITY)}")
        sheets.put(_DAYS_HIGH, _days_drawn(name, zone.days, of))
    _months(sheets, of)


def _days_drawn(name: str, days: Sequence[DayFigures], of: VetReport) -> Draw:
    def draw(sheet: Sheet, top: float) -> None:
        draw_days(
            sheet, top, _DAYS_HIGH, days, of.settings,
            name=name, floor_c=of.floor_c if name == WARM else None, damp=name == HUMIDITY,
        )  # fmt: skip

    return draw


def _figures(one: DayFigures | None, of: VetReport, *, damp: bool = False) -> str:
    """Lowest, mean and highest in one: "24.1, mean 30.9, 33.0 °C"."""
    if one is None or one.low is None or one.mean is None or one.high is None:
        return NOT_KNOWN
    if damp:
        return f"{one.low:.0f} to {one.high:.0f} %, mean {one.mean:.0f} %"
    low, mean, high = (temperature(v, of.settings) for v in (one.low, one.mean, one.high))
    return f"{low.split(' ')[0]} to {high}, mean {mean}"


def _months(sheets: Sheets, of: VetReport) -> None:
    """The months in figures, of the zones that are known at all."""
    names = [name for name in (WARM, COOL, HUMIDITY) if of.zones[name].known_h > 0]
    if not names:
        sheets.words("No reading of any zone is in the records of this period.")
        return
    months = {name: months_of(of.zones[name].days, of.settings) for name in names}
    columns = [Column("Month", 1.0), *(Column(upper(name), 2.0) for name in names)]
    if WARM in names:
        floor = temperature(of.floor_c, of.settings)
        columns += [Column(f"Warm side below {floor}", 1.1), Column("Warm side known", 0.9)]
    rows = []
    for i, (day, warm) in enumerate(months[names[0]]):
        row = [month_name(day)]
        row += [_figures(months[name][i][1], of, damp=name == HUMIDITY) for name in names]
        if WARM in names:
            below = hours(warm.below_h) if warm.known_h > 0 else NOT_KNOWN
            row += [below, f"{100 * warm.known_h / warm.hours:.0f} %"]
        rows.append(row)
    sheets.small_heading("By month: lowest to highest, and mean")
    sheets.table(columns, rows)


def upper(text: str) -> str:
    """As a sentence begins."""
    return f"{text[:1].upper()}{text[1:]}"
