"""Which meal of the book a meal is: by its number, or else by when it was offered or taken."""

from __future__ import annotations

import sqlite3
from typing import cast

from collector.book.records import Meal
from collector.book.rules import meal_time_ms
from collector.book.tables import TABLES
from config.errors import BadEntry

_TABLE = TABLES[Meal]


def find(connection: sqlite3.Connection, meal: Meal) -> Meal | None:
    """The meal as the book has it, or None.

    Number 0 stands for "not numbered yet". Then it is the animal's meal offered (or, where that
    is unknown, taken) at the same time; or taken at the same time, where one of the two does not
    know when it was offered. Raises BadEntry when two meals of the book fit.
    """
    if meal.meal:
        return by_number(connection, meal.meal)
    found = [other for other in _of_animal(connection, meal) if _same(meal, other)]
    if len(found) > 1:
        why = (
            f"is meal {found[0].meal} by one time and meal {found[1].meal} by the other; "
            "remove one of them first"
        )
        raise BadEntry(f"meal of {meal.animal!r}: {why}", field="taken_at", why=why)
    return found[0] if found else None


def by_number(connection: sqlite3.Connection, number: int) -> Meal | None:
    """The meal of that number, or None."""
    row = connection.execute(_TABLE.select(("meal",)), {"meal": number}).fetchone()
    return None if row is None else _read(row)


def clashing(connection: sqlite3.Connection, meal: Meal, number: int) -> Meal | None:
    """Another meal of the animal than `number` that was offered or taken at the same time."""
    for other in _of_animal(connection, meal):
        if other.meal == number:
            continue
        if meal_time_ms(meal) == meal_time_ms(other) or _taken_together(meal, other):
            return other
    return None


def was_given(connection: sqlite3.Connection, number: int) -> bool:
    """True when the book once had a meal of that number."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'meal'").fetchone()
    return row is not None and 0 < number <= row[0]


def _of_animal(connection: sqlite3.Connection, meal: Meal) -> list[Meal]:
    """The animal's meals that share a time with `meal`: few, through the two indices."""
    rows = connection.execute(
        " ".join(
            (
                "SELECT",
                ", ".join(_TABLE.columns),
                "FROM meal WHERE animal = :animal AND (taken_at_ms = :taken",
                "OR coalesce(offered_at_ms, taken_at_ms) = :known_by) ORDER BY meal",
            )
        ),
        {"animal": meal.animal, "taken": meal.taken_at_ms, "known_by": meal_time_ms(meal)},
    )
    return [_read(row) for row in rows]


def _same(meal: Meal, other: Meal) -> bool:
    if meal_time_ms(meal) == meal_time_ms(other):
        return True
    one_unknown = meal.offered_at_ms is None or other.offered_at_ms is None
    return one_unknown and _taken_together(meal, other)


def _taken_together(meal: Meal, other: Meal) -> bool:
    return meal.taken_at_ms is not None and meal.taken_at_ms == other.taken_at_ms


def _read(row: sqlite3.Row) -> Meal:
    return cast("Meal", _TABLE.read(dict(row)))
