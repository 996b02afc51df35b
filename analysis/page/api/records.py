"""The book and what it means, for programs: meals, reviews, what to feed next."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request

from analysis.feeding import next_meals_of_book
from analysis.page.api.asking import AnimalName, MealNumber, must_be_taken, must_know
from analysis.page.looking import looking
from analysis.review import review_all
from analysis.window import taken_at_ms
from collector.book.records import Meal
from collector.rfc3339 import written

router = APIRouter(prefix="/api", tags=["book"])


@router.get("/meals")
def meals(request: Request, animal: AnimalName = None) -> list[dict[str, Any]]:
    """Every offer of prey as the book has it, oldest first. Times RFC 3339, unknown is null."""
    with looking(request) as home:
        must_know(home, animal)
        return [meal_json(one) for one in home.book.meals(animal)]


@router.get("/meals/{meal}")
def meal(request: Request, meal: MealNumber) -> dict[str, Any]:
    """One of them."""
    with looking(request) as home:
        return meal_json(home.book.meal(meal))


@router.get("/reviews")
def reviews(request: Request, animal: AnimalName = None) -> list[dict[str, Any]]:
    """Every meal that was taken, judged: what `warmcoil review --json` prints."""
    with looking(request) as home:
        must_know(home, animal)
        found = review_all(
            home.book, home.reader, home.care, home.settings, home.now_ms,
            animal=animal, kept=home.parts.judged,
        )  # fmt: skip
    return [one.as_json() for one in found]


@router.get("/meals/{meal}/review")
def review(request: Request, meal: MealNumber) -> dict[str, Any]:
    """One of them."""
    with looking(request) as home:
        record = home.book.meal(meal)
        must_be_taken(taken_at_ms(record), meal)
        found = review_all(
            home.book, home.reader, home.care, home.settings, home.now_ms,
            animal=record.animal, kept=home.parts.judged,
        )  # fmt: skip
    return next(one.as_json() for one in found if one.meal == meal)


@router.get("/next")
def next_meals(request: Request, animal: AnimalName = None) -> list[dict[str, Any]]:
    """When, what and how much to feed next: what `warmcoil next --json` prints."""
    with looking(request) as home:
        must_know(home, animal)
        found = next_meals_of_book(
            home.book, home.reader, home.care, home.settings, home.now_ms, animal=animal
        )
    return [one.as_json() for one in found]


def meal_json(one: Meal) -> dict[str, Any]:
    """A meal's record: the names of its CSV columns, times RFC 3339 in UTC."""
    found: dict[str, Any] = {}
    for name, value in asdict(one).items():
        if name.endswith("_at_ms"):
            found[name.removesuffix("_ms")] = written(value) if value is not None else None
        else:
            found[name] = value
    return found
