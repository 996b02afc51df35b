"""A record and a change to it in a keeper's words and units, times in the home's zone. Light."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from datetime import date, datetime
from typing import Any, Final

from analysis.meal_words import prey
from analysis.words import (
    DAY_MS,
    MM_PER_INCH,
    NOT_KNOWN,
    local_clock,
    local_day,
    local_time,
    mass,
    plain,
    temperature,
)
from collector.book.history import Change
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
    ShedStage,
    Stay,
    Weighing,
)
from collector.book.tables import TABLES
from config.settings import Settings

FIELDS: Final[Mapping[str, str]] = {
    "offered_at_ms": "offered",
    "taken_at_ms": "taken",
    "removed_at_ms": "taken away",
    "outcome_at_ms": "outcome at",
    "prey_count": "count",
    "prey_mass_g": "mass",
    "prey_width_mm": "width",
    "prey_surface_c": "surface",
    "prey_state": "state",
    "fed_in": "fed in",
    "mass_g": "mass",
    "length_cm": "length",
    "midbody_mm": "mid-body",
    "read_c": "read",
    "true_c": "true",
    "uncertainty_c": "uncertainty",
    "second_read_c": "second point read",
    "second_true_c": "second point true",
    "second_uncertainty_c": "second point uncertainty",
    "minutes": "for",
    "since_ms": "since",
    "until_ms": "until",
    "at_ms": "time",
}
"""How the columns of the book are called where their own name is not a word."""
_EXACT: Final = tuple(part.name for part in fields(Calibrated) if part.name.endswith("_c"))


def width(value_mm: float, settings: Settings) -> str:
    """A width with its unit: "41 mm", "1.6 in"."""
    if settings.show.length == "in":
        return f"{value_mm / MM_PER_INCH:.2f} in"
    return f"{value_mm:.1f}".removesuffix(".0") + " mm"


def length(value_cm: float, settings: Settings) -> str:
    """A length of an animal with its unit: "182 cm", "71.7 in"."""
    if settings.show.length == "in":
        return f"{value_cm * 10 / MM_PER_INCH:.1f} in"
    return f"{value_cm:.1f}".removesuffix(".0") + " cm"


def when(at_ms: int, settings: Settings, now_ms: int) -> str:
    """A time as one would say it: "20:31" today, "yesterday 20:31", else with its day and year."""
    day, clock = local_day(at_ms, settings.zone), local_clock(at_ms, settings.zone)
    if abs(now_ms - at_ms) < 2 * DAY_MS:
        if day == local_day(now_ms, settings.zone):
            return clock
        noon_ms = _noon_before(now_ms, settings)
        if day == local_day(noon_ms, settings.zone):
            return f"yesterday {clock}"
    return local_time(at_ms, settings.zone)


def value(name: str, thing: object, settings: Settings) -> str:
    """The value of a column in words."""
    if thing is None:
        return NOT_KNOWN
    if name.endswith("_ms") and isinstance(thing, int):
        return local_time(thing, settings.zone)
    if isinstance(thing, int | float):
        return _amount(name, float(thing), settings)
    if isinstance(thing, date):
        return thing.isoformat()
    text = plain(str(thing))
    return f"“{text}”" if name in ("notes", "reason") else text


def _amount(name: str, number: float, settings: Settings) -> str:
    if name.endswith("_g"):
        return mass(number, settings)
    if name.endswith("_mm"):
        return width(number, settings)
    if name.endswith("_cm"):
        return length(number, settings)
    if name in _EXACT:  # hundredths matter, and °C is what the reference says
        return f"{number:.2f} °C"
    if name.endswith("_c"):
        return temperature(number, settings)
    return f"{number:g} min" if name == "minutes" else f"{number:g}"


def record_words(record: Record, settings: Settings, now_ms: int) -> str:
    """A record on one line: what it is, of whom, when, and what it says."""
    match record:
        case Enclosure() | Animal():
            name = type(record).__name__.lower()
            who = record.enclosure if isinstance(record, Enclosure) else record.animal
            return _with(f"{name} {plain(who)}", record, settings)
        case Stay():
            since = when(record.since_ms, settings, now_ms)
            return f"{plain(record.animal)} in {plain(record.enclosure)} since {since}"
        case Placement():
            since = when(record.since_ms, settings, now_ms)
            place = f"{plain(record.enclosure)}, {record.zone}"
            return f"probe {plain(record.probe)} in {place}, since {since}"
        case Meal():
            return meal_words(record, settings, now_ms)
        case Shed():
            says = "in shed" if record.stage is ShedStage.IN_SHED else "shed skin found"
            head = f"{plain(record.animal)}, {when(record.at_ms, settings, now_ms)}: {says}"
            return _with(head, record, settings, ", ")
        case Weighing() | Handling() | Look() | Dropping() | Calibrated():
            head = f"{_whose(record)}, {when(record.at_ms, settings, now_ms)}"
            return _with(f"{_KINDS[type(record)]} of {head}", record, settings)


_KINDS: Final[Mapping[type, str]] = {
    Weighing: "weighing",
    Handling: "handling",
    Look: "look",
    Dropping: "droppings",
    Shed: "shed",
    Calibrated: "calibration",
    Stay: "stay",
    Placement: "placement",
    Meal: "meal",
    Animal: "animal",
    Enclosure: "enclosure",
}
KIND_WORDS: Final[Mapping[str, str]] = {TABLES[kind].name: words for kind, words in _KINDS.items()}
"""What a kind of record, as the history names it, is called."""


def _with(head: str, record: Record, settings: Settings, between: str = ": ") -> str:
    said = [
        f"{FIELDS.get(name, name)} {value(name, thing, settings)}"
        for name, thing in _rest(record)
        if thing is not None
    ]
    return f"{head}{between}{', '.join(said)}" if said else head


def _rest(record: Record) -> Iterator[tuple[str, Any]]:
    known = (*TABLES[type(record)].key, "stage")
    for name in TABLES[type(record)].columns:
        if name not in known:
            yield name, getattr(record, name)


def meal_words(meal: Meal, settings: Settings, now_ms: int, aside: str = "") -> str:
    """A meal on one line; `aside` stands in brackets behind the prey."""
    what = prey(meal, settings) + (f" ({aside})" if aside else "")
    parts = [f"meal {meal.meal}: {plain(meal.animal)}, {what}"]
    for name in ("offered_at_ms", "taken_at_ms", "removed_at_ms"):
        at_ms = getattr(meal, name)
        if at_ms is not None:
            parts.append(f"{FIELDS[name]} {when(at_ms, settings, now_ms)}")
    if meal.taken_at_ms is None and meal.outcome is None:
        parts.append("not yet taken")
    if meal.outcome is not None:
        at = meal.outcome_at_ms
        refused = meal.outcome is Outcome.REFUSED and at == meal.removed_at_ms
        said = "" if at is None or refused else f" {when(at, settings, now_ms)}"
        parts.append(f"{meal.outcome}{said}")
    if meal.signs is not None:
        parts.append(f"signs: {meal.signs}")
    return ", ".join(parts)


def differences(before: Record, after: Record, settings: Settings) -> list[str]:
    """What became of each column that is not the same: "mass: 1,800 g → 1,830 g"."""
    return [
        f"{FIELDS.get(name, name)}: {value(name, getattr(before, name), settings)} → "
        f"{value(name, getattr(after, name), settings)}"
        for name in TABLES[type(after)].columns
        if getattr(before, name) != getattr(after, name)
    ]


def change_words(change: Change, after: Record | None, settings: Settings, now_ms: int) -> str:
    """What a change did: "added …", "changed …: from → to", "removed …"."""
    before = change.record
    if before is None:
        if after is None:
            return f"added {KIND_WORDS[change.kind]}"
        return f"added {_named(change, after, settings, now_ms)}"
    if after is None:
        return f"removed {_named(change, before, settings, now_ms)}"
    said = "; ".join(differences(before, after, settings)) or "nothing that is kept today"
    return f"changed {_called(after, settings, now_ms)}: {said}"


def _named(change: Change, record: Record, settings: Settings, now_ms: int) -> str:
    words = record_words(record, settings, now_ms)
    says_itself = change.kind in ("meal", "animal", "enclosure") or words.startswith(
        KIND_WORDS[change.kind]
    )
    return words if says_itself else f"{KIND_WORDS[change.kind]}: {words}"


def _called(record: Record, settings: Settings, now_ms: int) -> str:
    """What a record is known by, without what it says."""
    match record:
        case Meal():
            return f"meal {record.meal} ({plain(record.animal)})"
        case Enclosure():
            return f"enclosure {plain(record.enclosure)}"
        case Animal():
            return f"animal {plain(record.animal)}"
        case Stay():
            return f"stay of {plain(record.animal)}, {when(record.since_ms, settings, now_ms)}"
        case Placement():
            since = when(record.since_ms, settings, now_ms)
            return f"placement of probe {plain(record.probe)}, {since}"
        case _:
            at = when(record.at_ms, settings, now_ms)
            return f"{_KINDS[type(record)]} of {_whose(record)}, {at}"


def _whose(record: Weighing | Handling | Look | Dropping | Shed | Calibrated) -> str:
    if isinstance(record, Calibrated):
        return f"probe {plain(record.probe)}"
    return plain(record.animal)


def _noon_before(now_ms: int, settings: Settings) -> int:
    now = datetime.fromtimestamp(now_ms / 1000, settings.zone)
    return now_ms - (now.hour * 3_600_000 + now.minute * 60_000) - DAY_MS // 2


LOOK_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "spine": {
        "sharp": "stands out as a ridge with a hollow on either side",
        "felt": "is found at once under a light fingertip, but does not stand out",
        "buried": "has to be pressed for, or lies in a groove",
    },
    "ribs": {
        "seen": "show through the skin at rest",
        "felt": "are felt by a hand that strokes along the side, but not seen",
        "buried": "cannot be felt without pressing",
    },
    "skin": {
        "folded": "lies in lengthwise folds, or stays up when lifted",
        "smooth": "lies close and even",
    },
    "tail": {
        "tapering": "runs thinner evenly from the vent on",
        "thick": "stays thick behind the vent and then ends suddenly",
    },
    "vent": {
        "flat": "the sides before the vent go straight on",
        "bulging": "pads stand out on either side before the vent",
    },
    "neck": {
        "stepped": "clearly narrower than the head",
        "level": "as wide as the head, no step",
    },
}
"""What each word of a look at body condition stands for, in our own words."""
