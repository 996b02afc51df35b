"""The animals: all of them in a sentence each, and one with everything that is known of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from analysis.condition import conditions_of_book
from analysis.condition_words import state_words
from analysis.page.addresses import animal_path
from analysis.page.animal_meals import meals_shown
from analysis.page.animal_told import animal_told, kind_words
from analysis.page.looking import Looking, looking
from analysis.page.screens import Entry
from analysis.page.showing import show
from collector.book.records import Meal

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Animals", "/animals", order=20)

Page = Annotated[int, Query(ge=1, le=1_000_000)]


@dataclass(frozen=True, slots=True)
class AnimalRow:
    """One animal in the list."""

    name: str
    path: str
    kind: str
    enclosure: str | None
    state: str
    last_ms: int | None
    """When it took its last meal."""


@router.get("/animals")
def animals(request: Request) -> Response:
    """All of them, by name."""
    with looking(request) as home:
        return show(request, "animals.html", home, animals=_rows(home))


@router.get("/animal/{name:path}")
@router.get("/animal")
def animal(request: Request, name: str, meals: Page = 1) -> Response:
    """One of them. `meals` is the page of its meals, the newest on the first."""
    with looking(request) as home:
        record = home.book.animal(name)
        return show(
            request, "animal.html", home,
            told=animal_told(record, home), meals=meals_shown(name, meals, home),
            address=animal_path(name), joint="&" if "?" in animal_path(name) else "?",
        )  # fmt: skip


def _rows(home: Looking) -> list[AnimalRow]:
    places = {
        one.animal: one.enclosure
        for one in home.book.stays()
        if one.since_ms <= home.now_ms and (one.until_ms is None or home.now_ms < one.until_ms)
    }
    conditions = conditions_of_book(home.book, home.care, home.settings, home.now_ms)
    last = _last_taken(home.book.meals(), home.now_ms)
    return [
        AnimalRow(
            name=record.animal,
            path=animal_path(record.animal),
            kind=kind_words(record, home),
            enclosure=places.get(record.animal),
            state=state_words(one, home.settings),
            last_ms=last.get(record.animal),
        )
        for record, one in zip(home.book.animals(), conditions, strict=True)
    ]


def _last_taken(meals: list[Meal], now_ms: int) -> dict[str, int]:
    """By animal. The book has them in the order of their taking."""
    return {
        one.animal: one.taken_at_ms
        for one in meals
        if one.taken_at_ms is not None and one.taken_at_ms <= now_ms
    }
