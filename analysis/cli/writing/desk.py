"""The desk at which the book is written: a home opened for writing, questions asked beforehand."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from analysis import change_words, moments, words
from analysis.cli import common
from collector.book.book import Book
from collector.book.doubts import Doubt, Saying, doubts
from collector.book.records import Meal, Record
from collector.book.rules import shown_field
from collector.book.suspects import around
from config.errors import BadEntry, NotSo, Unusable
from config.settings import Settings, load_settings

R = TypeVar("R", bound=Record)

SureOption = Annotated[
    bool, typer.Option("--sure", help="Enter it although it looks odd: no question is asked.")
]
WhenOption = Annotated[
    str | None,
    typer.Option(
        "--when", metavar="TIME", help='now (left out), 20:30, "yesterday 20:30", 2026-03-01 20:30.'
    ),
]
CorrectOption = Annotated[
    str | None,
    typer.Option(
        "--correct",
        metavar="[TIME]",
        help="Correct the last one, or that of this time, instead of entering a new one.",
    ),
]
AnimalOption = Annotated[
    str | None,
    typer.Option("--animal", metavar="NAME", help="The animal, where its name reads as a number."),
]
NoteOption = Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Your own words.")]


class Desk:
    """One home opened for writing, for one command."""

    def __init__(self, book: Book, settings: Settings, now_ms: int, *, sure: bool) -> None:
        self.book = book
        self.settings = settings
        self.now_ms = now_ms
        self.notes: list[str] = []
        self._sure = sure

    # ---- reading what was written on the command line --------------------------------------------

    def moment(self, text: str, name: str, *, day_alone: bool = False) -> int:
        """A moment in UTC ms; how it was read is noted where that has to be said."""
        found = moments.moment(text, self.settings.zone, self.now_ms, name, day_alone=day_alone)
        if found.said is not None:
            self.notes.append(found.said)
        return found.at_ms

    def when(self, text: str | None, name: str = "--when", *, day_alone: bool = False) -> int:
        """A moment, now where none was given."""
        return self.moment(text or "now", name, day_alone=day_alone)

    def animal(self, name: str | None) -> str:
        """The animal of that name, or the only one. Raises NotSo naming those there are."""
        names = [one.animal for one in self.book.animals()]
        if name is None:
            return self._only(names)
        if name in names:
            return name
        alike = [one for one in names if one.casefold() == name.casefold()]
        if len(alike) == 1:
            return alike[0]
        known = ", ".join(names) or "none yet; enter it: warmcoil new animal NAME"
        raise NotSo(f"no animal {name!r} in the book; there are: {known}")

    def _only(self, names: list[str]) -> str:
        if len(names) == 1:
            return names[0]
        if not names:
            raise NotSo("no animal in the book yet; enter it: warmcoil new animal NAME")
        raise Unusable(f"which animal? there are: {', '.join(names)}")

    # ---- saying ----------------------------------------------------------------------------------

    def words(self, record: Record) -> str:
        """A record on one line."""
        return change_words.record_words(record, self.settings, self.now_ms)

    def say(self, line: str, *more: str) -> None:
        """Print a line beginning with a capital and ending with a full stop, then the notes."""
        typer.echo(" ".join([_sentence(line), *more]))
        for note in self.notes:
            typer.echo(_sentence(note))

    def saying(self) -> Saying:
        """How doubts name amounts and times: in the keeper's units, the home's time."""
        own, now_ms = self.settings, self.now_ms
        return Saying(
            mass=lambda value: words.mass(value, own),
            width=lambda value: change_words.width(value, own),
            length=lambda value: change_words.length(value, own),
            temperature=lambda value: words.temperature(value, own),
            when=lambda at_ms: change_words.when(at_ms, own, now_ms),
        )

    # ---- writing ---------------------------------------------------------------------------------

    def enter(
        self, *records: Record, instead_of: Sequence[Record] = (), more: Sequence[str] = ()
    ) -> list[Record]:
        """Write records, all or none, as the book has them then; doubts are asked about first.

        `instead_of` are taken out in the same step; `more` are doubts of the command's own.
        Raises BadEntry for what cannot be, Unusable where a doubt is not answered with yes.
        """
        for record in records:
            self._refuse_future(record)
        found = [*more, *self._doubts(records, instead_of)]
        if found:
            self.ask(found)
        return self._write(records, instead_of)

    def must_be_new(self, record: Record) -> None:
        """Refuse a record that the book has already under that key."""
        known = self.book.stored(record)
        if known is None:
            return
        how = f"warmcoil meal {known.meal} …" if isinstance(known, Meal) else "add --correct"
        raise BadEntry(f"the book has that already: {self.words(known)}; to correct it: {how}")

    def ask(self, found: Sequence[str]) -> None:
        """Ask whether it is right all the same. Raises Unusable when it is not, or nobody is there.

        With --sure nothing is asked.
        """
        if self._sure:
            return
        text = "; ".join(found)
        if not at_a_terminal():
            end = " Nothing" if text.endswith("?") else "; nothing"
            raise Unusable(f"{text}{end} was entered: if it is right, add --sure")
        typer.echo(_sentence(text), err=True)
        if not typer.confirm("Is that right?", default=False, err=True):
            raise Unusable("nothing was entered")

    def _refuse_future(self, record: Record) -> None:
        zone = self.settings.zone
        for name in (part.name for part in fields(record) if part.name.endswith("_ms")):
            at_ms = getattr(record, name)
            if at_ms is not None and at_ms > self.now_ms + moments.AHEAD_MS:
                raise BadEntry(
                    f"{shown_field(name)}: {words.local_time(at_ms, zone)} is still to come "
                    f"(it is {words.local_time(self.now_ms, zone)}); correct the time"
                )

    def _doubts(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[str]:
        """What is odd about the records now and was not before; tried out and undone."""
        before = [self.book.stored(record) for record in records]
        old = [one for record in (*before, *instead_of) for one in self._of(record)]
        with self.book.trial():
            written = self._put(records, instead_of)
            new = [one for record in written for one in self._of(record)]
        rules = {one.rule for one in old if one.rule}
        return [
            f"{_field(one.field)}: {one.why}"
            for one in new
            if one not in old and one.rule not in rules
        ]

    def _of(self, record: Record | None) -> list[Doubt]:
        animal = getattr(record, "animal", None)
        if record is None or animal is None or self._sure:
            return []
        return doubts(record, around(self.book, animal), self.saying())

    def _write(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[Record]:
        with self.book.transaction():
            return self._put(records, instead_of)

    def _put(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[Record]:
        for record in instead_of:
            self.book.remove(record)
        for record in records:
            self.book.put(record)
        return [self.book.stored(record) or record for record in records]


@contextmanager
def desk(home: Path | None, *, sure: bool = False, only_read: bool = False) -> Iterator[Desk]:
    """A desk at a home that exists; the book is closed at the end."""
    where = common.home_at(home)
    settings = load_settings(where)
    now_ms = common.now_ms()
    with Book(
        where.book,
        read_only=only_read,
        who=common.who(),
        now_ms=lambda: now_ms,
        zone=settings.zone,
    ) as book:
        yield Desk(book, settings, now_ms, sure=sure)


def at_a_terminal() -> bool:
    """True where somebody can be asked."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def known_at(records: Sequence[R], text: str, it: Desk, what: str, at_ms: Callable[[R], int]) -> R:
    """The last of records, or the one of the time written (to the minute). Raises NotSo."""
    if not records:
        raise NotSo(f"the book has no {what}")
    if text == "last":
        return max(records, key=at_ms)
    sought = it.moment(text, "the time", day_alone=True)
    there = [one for one in records if sought <= at_ms(one) < sought + _span_ms(text, sought)]
    if len(there) > 1:
        raise Unusable(f"there are {len(there)}: {'; '.join(map(it.words, there))}; give the time")
    if there:
        return there[0]
    last = max(records, key=at_ms)
    raise NotSo(
        f"no {what} at {words.local_time(sought, it.settings.zone)}; the last is {it.words(last)}"
    )


def _span_ms(text: str, sought_ms: int) -> int:
    """How much time a text stands for: a day, a minute, or the second where it names one."""
    if moments.looks_like_day(text.strip()):
        return words.DAY_MS
    return 1_000 if sought_ms % 60_000 else 60_000


def _field(name: str) -> str:
    return {
        "mass_g": "mass",
        "length_cm": "length",
        "midbody_mm": "mid-body",
        "prey_count": "count",
        "prey_mass_g": "mass",
        "prey_width_mm": "width",
        "prey_surface_c": "surface",
        "taken_at": "taken",
        "offered_at": "offered",
        "removed_at": "taken away",
        "outcome_at": "outcome",
    }.get(name, name)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
