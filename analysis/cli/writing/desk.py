"""The desk at which the book is written: a home opened for writing, questions asked beforehand."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from analysis import moments, words
from analysis.cli import common
from analysis.entering import desk as entering
from collector.book.book import Book
from collector.book.doubts import Doubt
from collector.book.records import Record
from config.errors import NotSo, Unusable
from config.settings import load_settings

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


class Desk(entering.Desk):
    """One home opened for writing, for one command: it asks and says at the terminal."""

    def say(self, line: str, *more: str) -> None:
        """Print a line beginning with a capital and ending with a full stop, then the notes."""
        typer.echo(" ".join([_sentence(line), *more]))
        for note in self.notes:
            typer.echo(_sentence(note))

    def ask(self, found: Sequence[Doubt]) -> None:
        """Ask whether it is right all the same. Raises Unusable when it is not, or nobody is there.

        With --sure nothing is asked.
        """
        if self.sure:
            return
        text = "; ".join(
            f"{_field(one.field)}: {one.why}" if one.field else one.why for one in found
        )
        if not at_a_terminal():
            end = " Nothing" if text.endswith("?") else "; nothing"
            raise Unusable(f"{text}{end} was entered: if it is right, add --sure")
        typer.echo(_sentence(text), err=True)
        if not typer.confirm("Is that right?", default=False, err=True):
            raise Unusable("nothing was entered")


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
