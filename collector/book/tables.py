"""How each kind of record lies in its table: columns, key, order, and the SQL that follows.

The SQL is joined from the names written down here, never from input.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from enum import StrEnum
from typing import Any

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

FROM_TEXT: Mapping[str, Callable[[str], object]] = {
    "born": date.fromisoformat,
    "zone": Zone,
    "prey_state": PreyState,
    "fed_in": FedIn,
    "outcome": Outcome,
    "signs": Signs,
    "stage": ShedStage,
    "urate": Urate,
    "spine": Spine,
    "ribs": Ribs,
    "skin": Skin,
    "tail": Tail,
    "vent": Vent,
    "neck": Neck,
}
"""How the columns that are more than text or number are read back."""


@dataclass(frozen=True, eq=False)
class Table:
    """One kind of record in SQL. `key` are the columns that a record is known by for good."""

    name: str
    record: type[Record]
    key: tuple[str, ...]
    order: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    columns: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        names = (f.name for f in fields(self.record) if f.name not in self.left_out)
        object.__setattr__(self, "columns", tuple(names))

    def values(self, record: Record) -> dict[str, object]:
        """The record's columns as SQLite and JSON keep them."""
        return {name: _plain(getattr(record, name)) for name in self.columns}

    def key_of(self, record: Record) -> dict[str, object]:
        """The columns of `values` that the record is known by."""
        return {name: _plain(getattr(record, name)) for name in self.key}

    def read(self, values: Mapping[str, Any]) -> Record:
        """The record again; columns it does not know are left out, missing ones are unknown."""
        known: dict[str, Any] = {
            name: _typed(name, values[name]) for name in self.columns if name in values
        }
        return self.record(**known)

    def select(self, where: tuple[str, ...] = ()) -> str:
        """SELECT, oldest first, with `:name` for each column of `where`."""
        parts = ["SELECT", ", ".join(self.columns), "FROM", self.name]
        if where:
            parts += ["WHERE", _each(where, " AND ")]
        return " ".join([*parts, "ORDER BY", ", ".join(self.order)])

    def insert(self) -> str:
        """INSERT of all columns by name."""
        marks = ", ".join(f":{name}" for name in self.columns)
        return " ".join(
            ("INSERT INTO", self.name, f"({', '.join(self.columns)})", f"VALUES ({marks})")
        )

    def update(self) -> str:
        """UPDATE of all columns, by the key."""
        return " ".join(
            (
                "UPDATE",
                self.name,
                "SET",
                _each(self.columns, ", "),
                "WHERE",
                _each(self.key, " AND "),
            )
        )

    def delete(self) -> str:
        """DELETE by the key."""
        return " ".join(("DELETE FROM", self.name, "WHERE", _each(self.key, " AND ")))


def _each(names: tuple[str, ...], between: str) -> str:
    return between.join(f"{name} = :{name}" for name in names)


def _plain(value: object) -> object:
    if isinstance(value, StrEnum):
        return value.value
    return value.isoformat() if isinstance(value, date) else value


def _typed(name: str, value: Any) -> object:
    reader = FROM_TEXT.get(name)
    return reader(value) if reader is not None and value is not None else value


_ENCLOSURE = Table("enclosure", Enclosure, ("enclosure",), ("enclosure",))
_ANIMAL = Table("animal", Animal, ("animal",), ("animal",))
_STAY = Table(
    "stay", Stay, ("animal", "since_ms"), ("since_ms", "animal"), left_out=("until_ms",)
)  # a stay ends when the next one begins: nothing to keep
_PLACEMENT = Table("placement", Placement, ("probe", "since_ms"), ("since_ms", "probe"))
_MEAL = Table("meal", Meal, ("meal",), ("coalesce(taken_at_ms, offered_at_ms)", "meal"))
_WEIGHING = Table("weighing", Weighing, ("animal", "at_ms"), ("at_ms", "animal"))
_HANDLING = Table("handling", Handling, ("animal", "at_ms"), ("at_ms", "animal"))
_SHED = Table("shed", Shed, ("animal", "at_ms"), ("at_ms", "animal"))
_LOOK = Table("look", Look, ("animal", "at_ms"), ("at_ms", "animal"))
_DROPPING = Table("dropping", Dropping, ("animal", "at_ms"), ("at_ms", "animal"))
_CALIBRATION = Table("calibration", Calibrated, ("probe", "at_ms"), ("at_ms", "probe"))

TABLES: Mapping[type, Table] = {
    table.record: table
    for table in (
        _ENCLOSURE,
        _ANIMAL,
        _STAY,
        _PLACEMENT,
        _MEAL,
        _WEIGHING,
        _HANDLING,
        _SHED,
        _LOOK,
        _DROPPING,
        _CALIBRATION,
    )
}
BY_NAME: Mapping[str, Table] = {table.name: table for table in TABLES.values()}
