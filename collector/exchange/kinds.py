"""The kinds of CSV file of the record book: columns, how rows become records and back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from collector.book.book import Book
from collector.book.records import (
    Animal,
    Calibrated,
    Dropping,
    Enclosure,
    FedIn,
    Handling,
    Look,
    Meal,
    Neck,
    Outcome,
    Placement,
    PreyState,
    Record,
    Ribs,
    Shed,
    ShedStage,
    Signs,
    Skin,
    Spine,
    Stay,
    Tail,
    Urate,
    Vent,
    Weighing,
    Zone,
)
from collector.exchange.fields import (
    Reader,
    day,
    moment,
    number,
    one_of,
    optional,
    required,
    whole,
    word,
)

Values = Mapping[str, Any]


@dataclass(frozen=True)
class Kind:
    """One kind of file. `readers` in the order of the columns.

    `rows` have a value for each column, and `ends_ms` where a row holds for a time.
    """

    readers: Mapping[str, Reader]
    records: Callable[[Values], Sequence[Record]]
    rows: Callable[[Book], Iterator[Values]]
    times: frozenset[str]
    may_lack: int = 0
    """So many of the last columns may be left out."""

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns, in the order in which they are written."""
        return tuple(self.readers)


_TEXT = optional(word)
_NAME = required(word)
_NUMBER = optional(number)
_TIME = optional(moment)
_AT = required(moment)


def _kind(
    readers: Mapping[str, Reader],
    records: Callable[[Values], Sequence[Record]],
    rows: Callable[[Book], Iterator[Values]],
    may_lack: int = 0,
) -> Kind:
    times = frozenset(name for name, reader in readers.items() if reader in (_TIME, _AT))
    return Kind(readers, records, rows, times, may_lack)


def _observed(
    make: Callable[..., Record], readers: Mapping[str, Reader], of: Callable[[Book], Sequence[Any]]
) -> Kind:
    """A kind whose columns are the animal, the time, and the record's own fields."""

    def _records(row: Values) -> Sequence[Record]:
        rest = {name: value for name, value in row.items() if name != "time"}
        return (make(at_ms=row["time"], **rest),)

    def _rows(book: Book) -> Iterator[Values]:
        for one in of(book):
            rest = {name: getattr(one, name) for name in readers}
            yield {"animal": one.animal, "time": one.at_ms, **rest}

    return _kind({"animal": _NAME, "time": _AT, **readers}, _records, _rows)


def _animal_records(row: Values) -> Sequence[Record]:
    """The animal and its stay. Without an enclosure there is no stay; with one, since when?"""
    animal = Animal(row["animal"], row["species"], row["sex"], row["born"])
    if row["enclosure"] is None and row["since"] is None:
        return (animal,)
    for name in ("enclosure", "since"):
        if row[name] is None:
            raise MissingError(name)
    return animal, Stay(row["animal"], row["enclosure"], row["since"])


class MissingError(ValueError):
    """A field that this row cannot do without."""

    def __init__(self, field: str) -> None:
        super().__init__("is empty")
        self.field = field


def _animal_rows(book: Book) -> Iterator[Values]:
    stays = book.stays()
    for one in book.animals():
        own = [stay for stay in stays if stay.animal == one.animal]
        head = {"animal": one.animal, "species": one.species, "sex": one.sex, "born": one.born}
        if not own:
            yield {**head, "enclosure": None, "since": None}
        for stay in own:
            yield {
                **head,
                "enclosure": stay.enclosure,
                "since": stay.since_ms,
                "ends_ms": stay.until_ms,
            }


def _placement_rows(book: Book) -> Iterator[Values]:
    """As they were written; `ends_ms` is where the probe's next placement cuts it."""
    for one, cut in zip(book.placements(as_written=True), book.placements(), strict=True):
        yield {
            "probe": one.probe,
            "enclosure": one.enclosure,
            "zone": one.zone,
            "since": one.since_ms,
            "until": one.until_ms,
            "ends_ms": cut.until_ms,
        }


def _meal_records(row: Values) -> Sequence[Record]:
    if row["offered_at"] is None and row["taken_at"] is None:
        raise MissingError("offered_at")
    times = {f"{name}_ms": row[name] for name in _MEAL_TIMES}
    rest = {name: value for name, value in row.items() if name not in _MEAL_TIMES}
    return (Meal(meal=0, **times, **rest),)


def _meal_rows(book: Book) -> Iterator[Values]:
    for one in book.meals():
        yield {name: getattr(one, f"{name}_ms" if name in _MEAL_TIMES else name) for name in _MEALS}


_MEAL_TIMES = ("offered_at", "taken_at", "removed_at", "outcome_at")
_MEALS: Mapping[str, Reader] = {
    "animal": _NAME,
    "offered_at": _TIME,
    "taken_at": _TIME,
    "removed_at": _TIME,
    "prey": _TEXT,
    "prey_count": optional(whole),
    "prey_mass_g": _NUMBER,
    "prey_width_mm": _NUMBER,
    "prey_surface_c": _NUMBER,
    "prey_state": optional(one_of(PreyState)),
    "fed_in": optional(one_of(FedIn)),
    "outcome": optional(one_of(Outcome)),
    "outcome_at": _TIME,
    "notes": _TEXT,
    "signs": optional(one_of(Signs)),
}

_CALIBRATION: Mapping[str, Reader] = {
    "read_c": required(number),
    "true_c": required(number),
    "uncertainty_c": required(number),
    "second_read_c": _NUMBER,
    "second_true_c": _NUMBER,
    "second_uncertainty_c": _NUMBER,
    "notes": _TEXT,
}


def _calibration_records(row: Values) -> Sequence[Record]:
    rest = {name: row[name] for name in _CALIBRATION}
    return (Calibrated(probe=row["probe"], at_ms=row["time"], **rest),)


def _calibration_rows(book: Book) -> Iterator[Values]:
    for one in book.calibrations():
        rest = {name: getattr(one, name) for name in _CALIBRATION}
        yield {"probe": one.probe, "time": one.at_ms, **rest}


KINDS: Mapping[str, Kind] = {
    "enclosures": _kind(
        {"enclosure": _NAME, "room": _TEXT, "notes": _TEXT},
        lambda row: (Enclosure(**row),),
        lambda book: (
            {"enclosure": e.enclosure, "room": e.room, "notes": e.notes} for e in book.enclosures()
        ),
    ),
    "animals": _kind(
        {
            "animal": _NAME,
            "species": _TEXT,
            "sex": _TEXT,
            "born": optional(day),
            "enclosure": _TEXT,
            "since": _TIME,
        },
        _animal_records,
        _animal_rows,
    ),
    "placements": _kind(
        {
            "probe": _NAME,
            "enclosure": _NAME,
            "zone": required(one_of(Zone)),
            "since": _AT,
            "until": _TIME,
        },
        lambda row: (
            Placement(row["probe"], row["enclosure"], row["zone"], row["since"], row["until"]),
        ),
        _placement_rows,
    ),
    "meals": _kind(_MEALS, _meal_records, _meal_rows, may_lack=1),
    "weights": _observed(
        Weighing, {"mass_g": _NUMBER, "length_cm": _NUMBER, "midbody_mm": _NUMBER}, Book.weighings
    ),
    "handling": _observed(Handling, {"minutes": _NUMBER, "reason": _TEXT}, Book.handlings),
    "sheds": _observed(Shed, {"stage": required(one_of(ShedStage)), "notes": _TEXT}, Book.sheds),
    "looks": _observed(
        Look,
        {
            "spine": optional(one_of(Spine)),
            "ribs": optional(one_of(Ribs)),
            "skin": optional(one_of(Skin)),
            "tail": optional(one_of(Tail)),
            "vent": optional(one_of(Vent)),
            "neck": optional(one_of(Neck)),
            "notes": _TEXT,
        },
        Book.looks,
    ),
    "droppings": _observed(
        Dropping,
        {"urate": optional(one_of(Urate)), "signs": optional(one_of(Signs)), "notes": _TEXT},
        Book.droppings,
    ),
    "calibrations": _kind(
        {"probe": _NAME, "time": _AT, **_CALIBRATION}, _calibration_records, _calibration_rows
    ),
}
"""Every kind of the record book; readings are a kind of their own."""
