"""The record book: who lives where, where the probes lie, what was eaten and what became of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, tzinfo
from itertools import pairwise
from pathlib import Path
from types import TracebackType
from typing import Literal, Self, TypeVar, cast

from collector.book import history, meals, neighbours, rules, sent, undoing
from collector.book.file import open_for_reading, open_for_writing, speaking_of
from collector.book.history import Action, Change, Made
from collector.book.records import (
    Animal,
    Calibrated,
    Dropping,
    Enclosure,
    Handling,
    Look,
    Meal,
    Placement,
    Record,
    Shed,
    Stay,
    Weighing,
)
from collector.book.sent import Sent
from collector.book.tables import BY_NAME, TABLES
from config.errors import BadEntry, NotSo

Put = Literal["added", "changed", "same"]
R = TypeVar("R", bound=Record)


def _wall_clock_ms() -> int:
    return time.time_ns() // 1_000_000


class Book:
    """The record book of one home; a context manager, used from one thread.

    One process writes at a time, any number read meanwhile. A book that does not exist is made
    when it is opened for writing, and reads as an empty one when it is opened `read_only`.
    `who` is written beside every change; `zone` is for the times in messages.

    Raises StoreFault when the file cannot be used, BadEntry for a record that cannot be true,
    NotSo for one that is not there.
    """

    def __init__(
        self,
        path: Path,
        *,
        read_only: bool = False,
        who: str = "command line",
        now_ms: Callable[[], int] = _wall_clock_ms,
        zone: tzinfo = UTC,
    ) -> None:
        self.path = path
        self._who = who
        self._now_ms = now_ms
        self._zone = zone
        self._begin = "BEGIN" if read_only else "BEGIN IMMEDIATE"
        self._depth = 0
        self._entry: int | None = None
        self._undoes: int | None = None
        self._db = open_for_reading(path) if read_only else open_for_writing(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; a transaction still open is undone."""
        self._db.close()

    # ---- reading: lists of records, oldest first ------------------------------------------------

    def enclosures(self) -> list[Enclosure]:
        """All enclosures, by name."""
        return self._all(Enclosure)

    def animals(self) -> list[Animal]:
        """All animals, by name."""
        return self._all(Animal)

    def animal(self, name: str) -> Animal:
        """The animal of that name. Raises NotSo, naming those there are."""
        found = self.stored(Animal(name))
        if found is None:
            names = ", ".join(animal.animal for animal in self.animals()) or "none yet"
            raise NotSo(f"no animal {name!r} in the book; there are: {names}")
        return found

    def stays(self, animal: str | None = None) -> list[Stay]:
        """Stays, each until the animal's next one begins."""
        found = self._all(Stay, animal=animal)
        ends = _next_begins((stay.animal, stay.since_ms) for stay in found)
        return [
            Stay(stay.animal, stay.enclosure, stay.since_ms, ends.get((stay.animal, stay.since_ms)))
            for stay in found
        ]

    def placements(self, probe: str | None = None, *, as_written: bool = False) -> list[Placement]:
        """Placements, each cut where the probe's next one begins; `as_written`: not cut."""
        found = self._all(Placement, probe=probe)
        if as_written:
            return found
        ends = _next_begins((placed.probe, placed.since_ms) for placed in found)
        return [
            neighbours.cut(placed, ends.get((placed.probe, placed.since_ms))) for placed in found
        ]

    def meals(self, animal: str | None = None) -> list[Meal]:
        """Meals by when they were taken, or else offered."""
        return self._all(Meal, animal=animal)

    def meal(self, number: int) -> Meal:
        """The meal of that number. Raises NotSo."""
        with speaking_of(self.path):
            found = meals.by_number(self._db, number)
        if found is None:
            raise NotSo(f"no meal {number} in the book; warmcoil review lists the meals")
        return found

    def weighings(self, animal: str | None = None) -> list[Weighing]:
        """Weighings."""
        return self._all(Weighing, animal=animal)

    def handlings(self, animal: str | None = None) -> list[Handling]:
        """Handlings."""
        return self._all(Handling, animal=animal)

    def sheds(self, animal: str | None = None) -> list[Shed]:
        """Sheds."""
        return self._all(Shed, animal=animal)

    def looks(self, animal: str | None = None) -> list[Look]:
        """Looks at body condition."""
        return self._all(Look, animal=animal)

    def droppings(self, animal: str | None = None) -> list[Dropping]:
        """Droppings."""
        return self._all(Dropping, animal=animal)

    def calibrations(self, probe: str | None = None) -> list[Calibrated]:
        """Calibrations; the last one of a probe holds."""
        return self._all(Calibrated, probe=probe)

    def stored(self, record: R) -> R | None:
        """The record of the same key as the book has it (a placement as written), or None.

        The key is the name; (animal, since); (probe, since); (animal, time); (probe, time); of a
        meal its number, or with number 0 its animal and when it was offered or taken.
        """
        with speaking_of(self.path):
            if isinstance(record, Meal):
                return cast("R | None", meals.find(self._db, record))
            table = TABLES[type(record)]
            row = self._db.execute(table.select(table.key), table.key_of(record)).fetchone()
            return None if row is None else cast("R", table.read(dict(row)))

    def history(self, record: Record | None = None) -> list[Change]:
        """Every change, or those of one record, oldest first; of a meal by its number."""
        with speaking_of(self.path):
            if record is None:
                return history.changes(self._db)
            return history.changes_of(self._db, record)

    def newest_change(self) -> int:
        """The number of the newest change, 0 before the first. The same number: the same book."""
        with speaking_of(self.path):
            (number,) = self._db.execute("SELECT max(number) FROM history").fetchone()
        return number or 0

    def at(self, kind: str, key: Mapping[str, object]) -> Record | None:
        """The record of that kind and key, as a change names them, or None."""
        table = BY_NAME[kind]
        with speaking_of(self.path):
            row = self._db.execute(table.select(table.key), dict(key)).fetchone()
        return None if row is None else table.read(dict(row))

    def after(self, change: Change) -> Record | None:
        """What stood in the book after a change; None where nothing did."""
        with speaking_of(self.path):
            return history.after(self._db, change)

    def entry(self, number: int) -> list[Change]:
        """The changes of the entry that holds change `number`, oldest first. Raises NotSo."""
        with speaking_of(self.path):
            found = history.of_entry(self._db, number)
        if not found:
            raise NotSo(f"no change {number} in the history; warmcoil history lists them")
        return found

    def taken_back_by(self, entry: int) -> int | None:
        """The entry that took this one back and holds itself, or None."""
        with speaking_of(self.path):
            return history.taken_back(self._db).get(entry)

    def to_take_back(self, number: int | None = None) -> list[Change]:
        """What `undo` would take back: the entry of that change, else the last one. May raise."""
        with speaking_of(self.path):
            return undoing.to_take_back(self._db, number)

    # ---- writing ---------------------------------------------------------------------------------

    def put(self, record: Record) -> Put:
        """Write a record: new, or in place of the one with the same key, which history keeps.

        A meal of number 0 gets one; `stored` tells it. A meal that was removed may be put back
        under its number. The end of a stay is not written: it ends when the next one begins.
        """
        record = rules.tidy(record)
        with speaking_of(self.path), self.transaction():
            for objection in rules.objections(record, self._now_ms(), self._zone):
                self._refuse(record, objection)
            stored = self.stored(record)
            for objection in neighbours.objections(self._db, record, stored, self._zone):
                self._refuse(record, objection)
            return self._insert(record) if stored is None else self._replace(record, stored)

    def remove(self, record: Record) -> None:
        """Take a record out; history keeps it. Raises NotSo, or BadEntry when others need it."""
        with speaking_of(self.path), self.transaction():
            stored = self.stored(record)
            if stored is None:
                raise NotSo(f"no {rules.label(record, self._zone)} in the book")
            for objection in neighbours.needed_by(self._db, stored):
                self._refuse(stored, objection)
            table = TABLES[type(stored)]
            self._keep(stored, "removed")
            self._db.execute(table.delete(), table.key_of(stored))

    def undo(self, number: int | None = None) -> list[Change]:
        """Take back the last entry, or the one that holds change `number`; returns its changes.

        An entry is what one transaction did. What is taken back stays in the history, as does
        the taking back, which may be taken back by its own number.
        """
        with speaking_of(self.path), self.transaction():
            changes = undoing.to_take_back(self._db, number)
            self._undoes = changes[0].entry
            for change in reversed(changes):
                undoing.take_back(self, self._db, change)
        return changes

    def once(self, key: str, digest: str, work: Callable[[], object]) -> Sent:
        """Do `work` in one transaction, unless the form with that key was entered already.

        Returns what became of the form, now or then; `digest` is of what it says. A work that
        raises leaves nothing, and the form may be sent again.
        """
        with speaking_of(self.path), self.transaction():
            known = sent.find(self._db, key)
            if known is None:
                work()
                known = Sent(key, digest, self._now_ms(), self._entry)
                sent.keep(self._db, known)
        return known

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or none of what is done inside; may be nested. Readers see it when it is done."""
        begin, done, undo = self._words()
        entry = self._entry
        with speaking_of(self.path):
            self._db.execute(begin)
        self._depth += 1
        try:
            yield
            with speaking_of(self.path):
                self._db.execute(done)
        except BaseException:
            self._undo(undo)
            self._entry = entry
            raise
        finally:
            self._depth -= 1

    @contextmanager
    def trial(self) -> Iterator[None]:
        """Try out what is done inside: the rules hold, and at the end all of it is undone."""
        begin, _, undo = self._words()
        entry = self._entry
        with speaking_of(self.path):
            self._db.execute(begin)
        self._depth += 1
        try:
            yield
        finally:
            self._undo(undo)
            self._entry = entry
            self._depth -= 1

    def _words(self) -> tuple[str, str, str]:
        if self._depth == 0:
            self._entry = self._undoes = None
            return self._begin, "COMMIT", "ROLLBACK"
        name = f"inner{self._depth:d}"
        return f"SAVEPOINT {name}", f"RELEASE {name}", f"ROLLBACK TO {name}; RELEASE {name}"

    def _undo(self, words: str) -> None:
        if self._db.in_transaction:  # a full disk has ended it already
            for word in words.split("; "):
                self._db.execute(word)

    def _refuse(self, record: Record, objection: rules.Objection) -> None:
        where = rules.label(record, self._zone)
        text = f"{where}, {objection.field}: {objection.why}"
        raise BadEntry(text, field=objection.field, why=objection.why)

    def _insert(self, record: Record) -> Put:
        table = TABLES[type(record)]
        values = table.values(record)
        if isinstance(record, Meal):
            values["meal"] = record.meal or None  # None: the next number
        number = self._db.execute(table.insert(), values).lastrowid
        if isinstance(record, Meal) and number is not None:
            record = replace(record, meal=number)
        self._keep(record, "added")
        return "added"

    def _keep(self, record: Record, action: Action) -> None:
        made = Made(self._who, self._now_ms(), self._entry, self._undoes)
        number = history.keep(self._db, record, action, made)
        if self._entry is None:
            self._entry = number

    def _replace(self, record: Record, stored: Record) -> Put:
        table = TABLES[type(record)]
        values = {**table.values(record), **table.key_of(stored)}
        before = table.values(stored)
        if isinstance(record, Placement) and neighbours.only_cut(self._db, record, stored):
            values["until_ms"] = before["until_ms"]
        if values == before:
            return "same"
        self._keep(stored, "changed")
        self._db.execute(table.update(), values)
        return "changed"

    def _all(self, kind: type[R], **where: str | None) -> list[R]:
        table = TABLES[kind]
        given = {name: value for name, value in where.items() if value is not None}
        with speaking_of(self.path):
            rows = self._db.execute(table.select(tuple(given)), given).fetchall()
        return [cast("R", table.read(dict(row))) for row in rows]


def _next_begins(begins: Iterator[tuple[str, int]]) -> dict[tuple[str, int], int]:
    """For every (who, since) but each one's last: when the next of the same who begins."""
    return {
        (who, since): following
        for (who, since), (next_who, following) in pairwise(sorted(begins))
        if who == next_who
    }
