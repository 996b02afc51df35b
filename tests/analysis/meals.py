"""Meals with lines of any kind, without a store: for what is judged from lines alone."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.exposure import Line, line_of
from analysis.gathering import Gathered
from analysis.weights import Weight
from analysis.window import Window, meal_window
from collector.book.records import Dropping, Handling, Meal, Shed
from config.care import load_care_profile
from config.settings import Settings
from tests.analysis.lines import GAP_MS, HOUR, T0

CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")
MEAL = Meal(meal=1, animal="Maren", taken_at_ms=T0)
WEEK = Window(T0, T0 + 168 * HOUR, "complete")


def steps(*parts: tuple[float, float], every_min: int = 5) -> Line:
    """(hours, °C) one after the other from the meal on; nan °C is a gap."""
    at_ms, values, here = [], [], 0.0
    for hours, value_c in parts:
        count = round(hours * 60 / every_min)
        if value_c == value_c:  # noqa: PLR0124  # not nan
            at_ms += [round(T0 + here * HOUR) + i * every_min * 60_000 for i in range(count)]
            values += [value_c] * count
        here += hours
    return line_of([*at_ms, round(T0 + here * HOUR)], [*values, values[-1]], GAP_MS)


NAN = float("nan")


def gathered(
    warm: Line | None,
    *,
    meal: Meal = MEAL,
    window: Window | None = None,
    cool: Line | None = None,
    humidity: Line | None = None,
    handlings: Sequence[Handling] = (),
    pct: float | None = None,
    midbody: float | None = None,
    age_months: int | None = None,
    before: Meal | None = None,
    sheds: Sequence[Shed] = (),
    droppings: Sequence[Dropping] = (),
    masses: Sequence[Weight] = (),
    came_back_before: Sequence[Meal] = (),
    next_meal_ms: int | None = None,
    body_g: float | None = None,
    now_ms: int = T0 + 10_000 * HOUR,
) -> Gathered:
    """A meal as if gathered, its window a whole week unless the meal ends it."""
    span = window or meal_window(meal, [meal], [], CARE, now_ms)
    return Gathered(
        meal=meal,
        window=span,
        until_ms=span.end_ms,
        now_ms=now_ms,
        animal=None,
        enclosure="left shelf",
        warm=warm.cut(span.start_ms, span.end_ms) if warm is not None else None,
        cool=cool,
        humidity=humidity,
        room=None,
        warm_probes=(),
        disagreements=(),
        handlings=tuple(handlings),
        body_mass_g=body_g,
        midbody_mm=midbody,
        meal_pct=pct,
        age_months=age_months,
        meal_before=before,
        sheds=tuple(sheds),
        droppings=tuple(droppings),
        masses=tuple(masses),
        came_back_before=tuple(came_back_before),
        next_meal_ms=next_meal_ms,
    )
