"""What the API's questions have in common: numbers of meals, moments, spans, how fine a picture."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query

from analysis.page.looking import Looking
from collector.rfc3339 import parse
from config.errors import NotSo, Unusable

MOST_COLUMNS = 4000

MealNumber = Annotated[int, Path(ge=1, le=2**53, description="The meal's number in the book.")]
Columns = Annotated[
    int,
    Query(
        ge=10, le=MOST_COLUMNS,
        description="Pixels of the picture: of each column first, lowest, highest and last stay.",
    ),
]  # fmt: skip
AnimalName = Annotated[str | None, Query(max_length=500, description="Only this animal's.")]
Moment = Annotated[
    str | None, Query(max_length=40, description="RFC 3339, for example 2026-03-01T20:30:00Z")
]
_EARLIEST_MS, _LATEST_MS = 0, 253_402_300_799_000  # to the end of the year 9999


def moment_ms(text: str | None, name: str) -> int | None:
    """A moment in UTC ms. Raises Unusable, naming the parameter."""
    if text is None:
        return None
    try:
        at_ms = parse(text.replace(" ", "+"))  # a "+" that nobody encoded
    except ValueError as fault:
        raise Unusable(f"{name}: {fault}") from None
    if not _EARLIEST_MS <= at_ms <= _LATEST_MS:
        raise Unusable(f"{name}: {text} lies outside 1970 to 9999")
    return at_ms


def must_know(home: Looking, animal: str | None) -> None:
    """Raise NotSo when the book has no such animal."""
    if animal is not None:
        home.book.animal(animal)


def must_be_taken(taken_ms: int | None, meal: int) -> int:
    """When the meal was taken. Raises NotSo when it was not."""
    if taken_ms is None:
        raise NotSo(f"meal {meal} was not taken: there is nothing to judge or to plot")
    return taken_ms
