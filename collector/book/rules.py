"""What a record may say: rules that need nothing but the record and the clock.

The bounds are our own choice, generous: they catch slips of the finger and wrong units, not
unusual animals.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any, TypeVar

from collector import rfc3339
from collector.book.records import (
    Animal,
    Calibrated,
    Dropping,
    Enclosure,
    Handling,
    Look,
    Meal,
    Outcome,
    Placement,
    Record,
    Shed,
    Stay,
    Weighing,
)

R = TypeVar("R", bound=Record)
DAY_MS = 86_400_000
EARLIEST_MS = -2_208_988_800_000
"""1900-01-01T00:00:00Z: nothing in the book is older."""
LEAST_APART_C = 10.0
"""Two points of a calibration that lie closer make an unsure line."""
MOST_OFF_C = 5.0
"""A probe that reads further from the truth is broken, or was not in the bath."""
LONGEST_NAME = 128
LONGEST_TEXT = 20_000


@dataclass(frozen=True, slots=True)
class Objection:
    """What speaks against a record: the field as the files name it, and why."""

    field: str
    why: str


@dataclass(frozen=True, slots=True)
class _Bounds:
    low: float
    high: float
    unit: str
    above_low: bool = True
    """True: `low` itself is not allowed."""


_BOUNDS: Mapping[str, _Bounds] = {
    "prey_count": _Bounds(0, 1_000, ""),
    "prey_mass_g": _Bounds(0, 100_000, "g"),
    "prey_width_mm": _Bounds(0, 1_000, "mm"),
    "prey_surface_c": _Bounds(0, 60, "°C", above_low=False),
    "mass_g": _Bounds(0, 100_000, "g"),
    "length_cm": _Bounds(0, 2_000, "cm"),
    "midbody_mm": _Bounds(0, 1_000, "mm"),
    "read_c": _Bounds(-55, 125, "°C", above_low=False),
    "true_c": _Bounds(-55, 125, "°C", above_low=False),
    "uncertainty_c": _Bounds(0, 2, "°C"),
    "second_read_c": _Bounds(-55, 125, "°C", above_low=False),
    "second_true_c": _Bounds(-55, 125, "°C", above_low=False),
    "second_uncertainty_c": _Bounds(0, 2, "°C"),
    "minutes": _Bounds(0, 1_440, "min", above_low=False),
}
_NAMES = ("enclosure", "animal", "probe")
LOOKED_AT = ("spine", "ribs", "skin", "tail", "vent", "neck")
_TEXTS = ("room", "notes", "species", "sex", "prey", "reason")


def shown_field(name: str) -> str:
    """A column of the book as the files name it."""
    return "time" if name == "at_ms" else name.removesuffix("_ms")


def label(record: Record, zone: tzinfo = UTC) -> str:
    """What a message calls the record."""
    match record:
        case Enclosure():
            return f"enclosure {record.enclosure!r}"
        case Animal():
            return f"animal {record.animal!r}"
        case Placement():
            since = _when(record.since_ms, zone)
            return f"placement of probe {record.probe!r} since {since}"
        case Stay():
            return f"stay of {record.animal!r} since {_when(record.since_ms, zone)}"
        case Meal():
            return f"meal of {record.animal!r} at {_when(meal_time_ms(record), zone)}"
        case Weighing() | Handling() | Shed() | Look() | Dropping() | Calibrated():
            if isinstance(record, Calibrated):
                what = f"calibration of probe {record.probe!r}"
            else:
                what = f"{type(record).__name__.lower()} of {record.animal!r}"
            return f"{what} at {_when(record.at_ms, zone)}"


def meal_time_ms(meal: Meal) -> int | None:
    """What a meal is known by beside its animal: when it was offered, or else taken."""
    return meal.offered_at_ms if meal.offered_at_ms is not None else meal.taken_at_ms


def tidy(record: R) -> R:
    """The record with empty texts as unknown ones: no file can tell the two apart."""
    empty: dict[str, Any] = {name: None for name in _TEXTS if getattr(record, name, None) == ""}
    return replace(record, **empty) if empty else record


def objections(record: Record, now_ms: int, zone: tzinfo = UTC) -> Iterator[Objection]:
    """Everything that speaks against a record by itself."""
    for part in fields(record):
        value = getattr(record, part.name)
        if value is not None:
            yield from _against_value(part.name, value, now_ms, zone)
    match record:
        case Stay() | Placement():
            yield from _against_span(record, zone)
        case Meal():
            yield from _against_meal(record, zone)
        case Weighing():
            if record.mass_g is record.length_cm is record.midbody_mm is None:
                yield Objection("mass_g", "nothing was measured; give mass, length or width")
        case Look():
            if all(getattr(record, part) is None for part in LOOKED_AT):
                yield Objection("spine", "nothing was looked at; say what was seen of one part")
        case Calibrated():
            yield from _against_calibration(record)
        case _:
            pass


def _against_value(name: str, value: object, now_ms: int, zone: tzinfo) -> Iterator[Objection]:
    why = None
    if name in _NAMES:
        why = _against_name(str(value))
    elif name in _TEXTS:
        why = _against_text(str(value))
    elif name in _BOUNDS and isinstance(value, int | float):
        why = _against_number(value, _BOUNDS[name])
    elif name.endswith("_ms") and isinstance(value, int):
        why = _against_time(value, now_ms, zone)
    elif isinstance(value, date):
        why = _against_day(value, now_ms)
    if why is not None:
        yield Objection(shown_field(name), why)


def _against_name(name: str) -> str | None:
    if not name:
        return "is empty; give a name"
    if len(name) > LONGEST_NAME:
        return f"is {len(name)} characters long; {LONGEST_NAME} are the most"
    if name != name.strip() or not name.isprintable():
        return f"{name!r} has a space at an end, or a character that cannot be seen; take it out"
    return None


def _against_text(text: str) -> str | None:
    if len(text) > LONGEST_TEXT:
        return f"is {len(text)} characters long; {LONGEST_TEXT} are the most"
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        return "holds a character that is no text; take it out"
    return None


def _against_number(value: float, bounds: _Bounds) -> str | None:
    if math.isfinite(value):
        low = value > bounds.low if bounds.above_low else value >= bounds.low
        if low and value <= bounds.high:
            return None
    range_ = f"more than {bounds.low:g} and" if bounds.above_low else f"{bounds.low:g} or more and"
    unit = f" {bounds.unit}" if bounds.unit else ""
    return f"{value!r}{unit} cannot be; it is {range_} at most {bounds.high:g}{unit}"


def _against_time(at_ms: int, now_ms: int, zone: tzinfo) -> str | None:
    if at_ms < EARLIEST_MS:
        return "is before 1900; correct the year"
    if at_ms > now_ms + DAY_MS:
        now = _when(now_ms // 1000 * 1000, zone)
        return (
            f"{_when(at_ms, zone)} is more than a day ahead of this machine's clock ({now}); "
            "correct the time or the clock"
        )
    return None


def _against_day(day: date, now_ms: int) -> str | None:
    today = datetime.fromtimestamp(now_ms / 1000, UTC).date()
    if day.year < 1900:
        return "is before 1900; correct the year"
    if day > today + timedelta(days=1):
        return f"{day.isoformat()} is in the future; correct it"
    return None


def _against_span(record: Stay | Placement, zone: tzinfo) -> Iterator[Objection]:
    if record.until_ms is not None and record.until_ms <= record.since_ms:
        yield Objection(
            "until", f"is not after since ({_when(record.since_ms, zone)}); correct one of the two"
        )


def _against_meal(meal: Meal, zone: tzinfo) -> Iterator[Objection]:
    if meal_time_ms(meal) is None:
        yield Objection("taken_at", "is unknown, and so is offered_at; give one of the two")
    yield from _in_order(meal, "offered_at_ms", "taken_at_ms", zone)
    yield from _in_order(meal, "offered_at_ms", "removed_at_ms", zone)
    first = "taken_at_ms" if meal.taken_at_ms is not None else "offered_at_ms"
    yield from _in_order(meal, first, "outcome_at_ms", zone)
    if meal.outcome is Outcome.REFUSED and meal.taken_at_ms is not None:
        yield Objection("outcome", "is refused, but taken_at is given; take one of the two out")
    if meal.outcome is None and meal.outcome_at_ms is not None:
        yield Objection("outcome_at", "is given without an outcome; say what became of the meal")


def _against_calibration(record: Calibrated) -> Iterator[Objection]:
    second = (record.second_read_c, record.second_true_c, record.second_uncertainty_c)
    points = [("read_c", record.read_c, record.true_c)]
    if second[0] is not None and second[1] is not None and second[2] is not None:
        points.append(("second_read_c", second[0], second[1]))
        apart = min(abs(second[0] - record.read_c), abs(second[1] - record.true_c))
        if apart < LEAST_APART_C:
            yield Objection(
                "second_true_c",
                f"is only {apart:.1f} °C from the first point; take two points "
                f"{LEAST_APART_C:g} °C apart or more",
            )
    elif second != (None, None, None):
        yield Objection("second_read_c", "a second point has read, true and uncertainty; give all")
    for field, read_c, true_c in points:
        if abs(true_c - read_c) > MOST_OFF_C:
            yield Objection(
                field,
                f"{read_c:.2f} °C is more than {MOST_OFF_C:g} °C from what was true "
                f"({true_c:.2f} °C): no correction mends that; look at the bath, or at the probe",
            )


def _in_order(meal: Meal, first: str, second: str, zone: tzinfo) -> Iterator[Objection]:
    earlier, later = getattr(meal, first), getattr(meal, second)
    if earlier is not None and later is not None and later < earlier:
        yield Objection(
            shown_field(second),
            f"is before {shown_field(first)} ({_when(earlier, zone)}); correct one of the two",
        )


def _when(at_ms: int | None, zone: tzinfo) -> str:
    if at_ms is None:
        return "an unknown time"
    try:
        return rfc3339.written(at_ms, zone)
    except OverflowError:
        return f"{at_ms} ms"
