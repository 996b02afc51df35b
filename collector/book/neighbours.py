"""What a record may say beside the others in the book: they exist and do not contradict it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import tzinfo

from collector import rfc3339
from collector.book import meals
from collector.book.records import Animal, Enclosure, Meal, Placement, Record
from collector.book.rules import Objection

_NEED_ANIMAL = ("stay", "meal", "weighing", "handling", "shed", "look", "dropping")
_NEED_ENCLOSURE = ("stay", "placement")


def objections(
    db: sqlite3.Connection, record: Record, stored: Record | None, zone: tzinfo
) -> Iterator[Objection]:
    """Everything in the book that speaks against putting `record` in place of `stored`."""
    if not isinstance(record, Animal):
        yield from _unknown(db, "animal", getattr(record, "animal", None))
    if not isinstance(record, Enclosure):
        yield from _unknown(db, "enclosure", getattr(record, "enclosure", None))
    if isinstance(record, Placement):
        yield from _overlap(db, record, zone)
    if isinstance(record, Meal):
        yield from _against_meal(db, record, stored)


def needed_by(db: sqlite3.Connection, record: Record) -> Iterator[Objection]:
    """What still refers to a record that is to be removed."""
    if isinstance(record, Animal):
        yield from _still(db, "animal", record.animal, _NEED_ANIMAL)
    if isinstance(record, Enclosure):
        yield from _still(db, "enclosure", record.enclosure, _NEED_ENCLOSURE)


def cut(placement: Placement, next_ms: int | None) -> Placement:
    """The placement, ended where the probe's next one begins."""
    if next_ms is None or (placement.until_ms is not None and placement.until_ms <= next_ms):
        return placement
    return replace(placement, until_ms=next_ms)


def only_cut(db: sqlite3.Connection, placement: Placement, stored: Record) -> bool:
    """True when an open placement comes back with the end that the next one gives it."""
    if not isinstance(stored, Placement) or stored.until_ms is not None:
        return False
    return placement.until_ms is not None and placement.until_ms == _next(db, placement)


def _unknown(db: sqlite3.Connection, what: str, name: str | None) -> Iterator[Objection]:
    if name is None:
        return
    statement = {
        "animal": "SELECT 1 FROM animal WHERE animal = ?",
        "enclosure": "SELECT 1 FROM enclosure WHERE enclosure = ?",
    }[what]
    if db.execute(statement, (name,)).fetchone() is None:
        yield Objection(what, f"no {what} {name!r} in the book; enter or import the {what}s first")


def _next(db: sqlite3.Connection, placement: Placement) -> int | None:
    row = db.execute(
        "SELECT min(since_ms) FROM placement WHERE probe = ? AND since_ms > ?",
        (placement.probe, placement.since_ms),
    ).fetchone()
    return None if row[0] is None else int(row[0])


def _overlap(db: sqlite3.Connection, placement: Placement, zone: tzinfo) -> Iterator[Objection]:
    following = _next(db, placement)
    if following is not None and placement.until_ms is not None and placement.until_ms > following:
        since = rfc3339.written(following, zone)
        yield Objection(
            "until", f"is after {since}, when this probe's next placement begins; end it there"
        )
    earlier = db.execute(
        "SELECT since_ms, until_ms FROM placement WHERE probe = ? AND since_ms < ? "
        "ORDER BY since_ms DESC LIMIT 1",
        (placement.probe, placement.since_ms),
    ).fetchone()
    if earlier is None or earlier["until_ms"] is None:
        return
    if earlier["until_ms"] > placement.since_ms:
        since, until = (rfc3339.written(earlier[name], zone) for name in ("since_ms", "until_ms"))
        yield Objection(
            "since", f"this probe is placed from {since} until {until} already; end that first"
        )


def _against_meal(db: sqlite3.Connection, meal: Meal, stored: Record | None) -> Iterator[Objection]:
    if stored is None and meal.meal and not meals.was_given(db, meal.meal):
        yield Objection(
            "meal", f"no meal {meal.meal} in the book; leave the number out for a new one"
        )
    number = stored.meal if isinstance(stored, Meal) else meal.meal
    other = meals.clashing(db, meal, number)
    if other is not None:
        yield Objection(
            "taken_at" if meal.taken_at_ms is not None else "offered_at",
            f"meal {other.meal} of this animal has that time already; correct that one",
        )


def _still(
    db: sqlite3.Connection, what: str, name: str, tables: tuple[str, ...]
) -> Iterator[Objection]:
    for table in tables:
        query = " ".join(("SELECT count(*) FROM", table, "WHERE", what, "= ?"))  # names from above
        count = db.execute(query, (name,)).fetchone()[0]
        if count:
            yield Objection(
                what, f"the book has a {table} of it ({count} in all); remove that first"
            )
