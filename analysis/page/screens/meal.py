"""One meal: the ribbon large, the plot of the days after it, the verdict, the factors."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.meal_words import meal_sentence
from analysis.page.api.asking import MealNumber
from analysis.page.looking import looking
from analysis.page.meal_told import meal_told, neighbours
from analysis.page.showing import show

router = APIRouter(include_in_schema=False)


@router.get("/meal/{meal}")
def one_meal(request: Request, meal: MealNumber) -> Response:
    """The screen."""
    with looking(request) as home:
        record = home.book.meal(meal)
        before, after = neighbours(record, home)
        return show(
            request, "meal.html", home,
            record=record, sentence=meal_sentence(record, home.settings),
            told=meal_told(record, home), before=before, after=after,
        )  # fmt: skip
