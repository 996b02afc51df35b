"""Tables for people: every number with its unit, unknown said in words."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from analysis.probes import ProbeState, doubts
from analysis.review_row import cells, row_of
from analysis.words import age, temperature
from collector.book.records import Meal
from collector.readings import Quantity, Reading
from config.settings import Settings

if TYPE_CHECKING:
    from analysis.review import Review
    from analysis.watch.states import Alarm

_WIDE = 180


def show(table: Table) -> None:
    """Print a table; a pipe gets it wide, so that no column is cut."""
    console = Console() if sys.stdout.isatty() else Console(width=_WIDE)
    console.print(table)


def review_table(reviews: Sequence[Review], meals: Mapping[int, Meal], settings: Settings) -> Table:
    """One row a meal, oldest first."""
    floor = None
    table = _table(
        "meal",
        "animal",
        "taken",
        "prey",
        "window",
        "known",
        "warm side",
        "below",
        "longest",
        "verdict",
        "outcome",
    )
    for one in reviews:
        row = row_of(one, meals[one.meal], settings)
        floor = row.floor_c if row.floor_c is not None else floor
        table.add_row(*cells(row, settings))
    if floor is not None:
        table.columns[7].header = f"below {temperature(floor, settings)}"
    return table


def probe_table(states: Sequence[ProbeState], settings: Settings) -> Table:
    """One row a probe and quantity."""
    table = _table("probe", "name", "place", "reading", "age", "quality")
    for state in states:
        place = state.placement
        where = f"{place.enclosure}, {place.zone.value}" if place else "not placed"
        for row, one in enumerate(state.latest or (None,)):
            head = (state.probe, state.name or "", where) if row == 0 else ("", "", "")
            if one is None:
                table.add_row(*head, "never heard", "", "")
            else:
                table.add_row(
                    *head,
                    _reading_words(one, settings),
                    age(state.age_seconds(one)),
                    ", ".join(doubts(one.flags)) or "good",
                )
    return table


def alarm_table(found: Sequence[Alarm], settings: Settings) -> Table:
    """One row an alarm."""
    from analysis.cli.alarms import words_of

    table = _table("code", "alarm", "place", "state", "priority", "since")
    for one in found:
        table.add_row(*words_of(one, settings))
    return table


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in columns:
        table.add_column(name, overflow="fold")
    return table


def _reading_words(one: Reading, settings: Settings) -> str:
    if one.quantity is Quantity.TEMPERATURE:
        return temperature(one.value, settings)
    unit = "% humidity" if one.quantity is Quantity.HUMIDITY else "V"
    return f"{one.value:.1f} {unit}"
