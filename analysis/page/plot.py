"""The post-meal plot as numbers, for the script that draws it: what the static one shows, and more.

Along: hours since the meal. Up: the keeper's unit. Each line is reduced by the lowest and highest
value of every pixel column over the span that is looked at, so that a closer look shows more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from analysis.exposure import Line
from analysis.figures import climate as numbers
from analysis.figures.climate import Climate, Track
from analysis.figures.days import local_days, midnights, nights, too_many_to_tell
from analysis.figures.meal_shape import meal_climate
from analysis.figures.reduce import paths_of, reduced
from analysis.figures.scale import colour_of
from analysis.gathering import Gathered
from analysis.meal_words import ending
from analysis.words import (
    HOUR_MS,
    local_day,
    named_day,
    plain,
    shown_temperature,
    temperature,
    temperature_unit,
)
from config.care import CareProfile
from config.settings import Settings

Numbers = list[float | None]


@dataclass(frozen=True, slots=True)
class Look:
    """What is looked at: [start_ms, end_ms), so many pixels wide."""

    start_ms: int
    end_ms: int
    columns: int


def whole(gathered: Gathered, care: CareProfile, columns: int) -> Look:
    """A look at the whole of a meal."""
    climate = meal_climate(gathered, care)
    return Look(climate.start_ms, climate.end_ms, columns)


def plot_json(
    gathered: Gathered, care: CareProfile, settings: Settings, look: Look
) -> dict[str, Any]:
    """The plot of one meal. Where nothing is known between two points, a null lies between them."""
    own, damp = meal_climate(gathered, care), gathered.of_window().humidity
    return {
        "meal": gathered.meal.meal,
        **climate_json(own, damp, settings, look, gathered.window.start_ms),
    }


def climate_json(
    own: Climate, damp: Line | None, settings: Settings, look: Look, meal_ms: int
) -> dict[str, Any]:
    """Any plot of temperatures, with the humidity beneath; along it hours since `meal_ms`, which
    of an enclosure is where its plot begins."""
    seen = replace(own, start_ms=look.start_ms, end_ms=look.end_ms)
    lines = {"warm side": own.warm, "cool side": own.cool, "room": own.room}
    tracks = {
        name: one
        for name, line in lines.items()
        if (one := numbers.track(name, line, seen, look.columns)) is not None
    }
    warm = tracks.get("warm side")
    return {
        "taken_ms": meal_ms,
        "time_zone": settings.time_zone,
        "unit": temperature_unit(settings),
        "span": [_hours(look.start_ms, meal_ms), _hours(look.end_ms, meal_ms)],
        "tracks": [_track(one, meal_ms, settings) for one in tracks.values()],
        "humidity": _humidity(damp, look, meal_ms),
        "levels": _levels(warm, seen, settings),
        "beyond": _beyond(warm, seen, meal_ms, settings) if warm is not None else [],
        "gaps": _spans(numbers.gaps(warm, seen), meal_ms) if warm is not None else [],
        "events": [
            {"x": _hours(one.at_ms, meal_ms), "word": plain(one.word), "ends": one.ends_it}
            for one in own.events
            if look.start_ms <= one.at_ms <= look.end_ms
        ],
        **_calendar(seen, meal_ms, settings),
    }


def earlier_json(
    gathered: Gathered, about_d: float | None, settings: Settings, columns: int
) -> dict[str, Any]:
    """An earlier meal's warm side, to be laid under another's, aligned at the meal."""
    window, meal = gathered.window, gathered.meal
    what = ending(meal, window.end_ms, window.ended_by, about_d)
    line = _line(gathered.warm, Look(window.start_ms, window.end_ms, columns), window.start_ms)
    return {
        "meal": meal.meal,
        "words": plain(f"{local_day(window.start_ms, settings.zone)}: {what}"),
        "x": line["x"],
        "y": [None if y is None else _shown(y, settings) for y in line["y"]],
    }


def _track(one: Track, meal_ms: int, settings: Settings) -> dict[str, Any]:
    x: Numbers = []
    y: Numbers = []
    for path in one.paths:
        if x:
            x.append(None)
            y.append(None)
        x += [_hours(at, meal_ms) for at in path.at_ms.tolist()]
        y += [_shown(c, settings) for c in path.value.tolist()]
    return {"name": one.name, "x": x, "y": y}


def _humidity(line: Line | None, look: Look, meal_ms: int) -> dict[str, Any] | None:
    return None if line is None else {"name": "humidity", **_line(line, look, meal_ms)}


def _line(line: Line | None, look: Look, meal_ms: int) -> dict[str, Numbers]:
    x: Numbers = []
    y: Numbers = []
    seen = line.cut(look.start_ms, look.end_ms) if line is not None else None
    for path in paths_of(seen) if seen is not None else ():
        part = reduced(path, look.start_ms, look.end_ms, look.columns)
        if x:
            x.append(None)
            y.append(None)
        x += [_hours(at, meal_ms) for at in part.at_ms.tolist()]
        y += [round(value, 3) for value in part.value.tolist()]
    return {"x": x, "y": y}


def _levels(warm: Track | None, seen: Climate, settings: Settings) -> list[dict[str, Any]]:
    def level(kind: str, value_c: float, word: str) -> dict[str, Any]:
        said = f"{word} {temperature(value_c, settings)}".strip()
        return {"kind": kind, "value": _shown(value_c, settings), "words": said}

    return [
        level("floor", seen.floor_c, "floor"),
        level("hot", seen.hot_c, "too hot"),
        *(level("lower", value_c, "") for value_c in numbers.limits_reached(warm, seen)),
    ]


def _beyond(warm: Track, seen: Climate, meal_ms: int, settings: Settings) -> list[dict[str, Any]]:
    """What lies beyond the limits, as areas, those of one colour together."""
    found: dict[int, dict[str, Any]] = {}
    for part in numbers.beyond(warm, seen):
        level = _shown(seen.floor_c if part.step < 0 else seen.hot_c, settings)
        one = found.setdefault(
            part.step, {"step": part.step, "colour": colour_of(part.step), "x": [], "y": []}
        )
        at = [_hours(at_ms, meal_ms) for at_ms, _ in part.points]
        one["x"] += [at[0], *at, at[-1], at[0], None]
        one["y"] += [level, *(_shown(c, settings) for _, c in part.points), level, level, None]
    return [found[step] for step in sorted(found)]


def _calendar(seen: Climate, meal_ms: int, settings: Settings) -> dict[str, Any]:
    zone = settings.zone
    span = seen.start_ms, seen.end_ms
    days, told = local_days(*span, zone), not too_many_to_tell(*span)
    return {
        "midnights": [_hours(at, meal_ms) for at in midnights(*span, zone)] if told else [],
        "nights": _spans(nights(*span, zone), meal_ms) if told else [],
        "days": [
            {
                "x": _hours(
                    (max(d.start_ms, seen.start_ms) + min(d.end_ms, seen.end_ms)) / 2, meal_ms
                ),
                "words": named_day(d.day, d.day),
                "hours": (min(d.end_ms, seen.end_ms) - max(d.start_ms, seen.start_ms)) / HOUR_MS,
            }
            for d in days
        ],
    }


def _spans(
    spans: list[tuple[float, float]] | list[tuple[int, int]], meal_ms: int
) -> list[list[float]]:
    return [[_hours(a, meal_ms), _hours(b, meal_ms)] for a, b in spans]


def _hours(at_ms: float, meal_ms: int) -> float:
    """To a third of a second."""
    return round((at_ms - meal_ms) / HOUR_MS, 4)


def _shown(value_c: float, settings: Settings) -> float:
    return round(shown_temperature(value_c, settings), 3)
