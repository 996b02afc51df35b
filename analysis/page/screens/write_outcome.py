"""What became of a meal: one tap from the question, or with its time and what was seen."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from analysis.meal_life import due
from analysis.meal_words import meal_sentence
from analysis.page.forms import meal_forms
from analysis.page.forms.entering import enter
from analysis.page.forms.form import Form, fresh_key
from analysis.page.forms.typed import Sent
from analysis.page.looking import Looking, looking
from analysis.page.showing import show
from collector.book.records import Meal

router = APIRouter(include_in_schema=False)
_MOST = 20
MealAsked = Annotated[int | None, Query(ge=1, le=2**53)]


@router.get("/write/outcome")
def outcome(request: Request, meal: MealAsked = None) -> Response:
    """Every open question with its answers, or the form of one meal."""
    if meal is not None:
        return _one(request, meal, None)
    with looking(request) as home:
        found = due(home.book.meals(), home.now_ms, home.care, home.zone, home.book.weighings())
        asked = {one.meal.meal for one in found}
        others = [one for one in home.book.meals() if one.outcome is None and one.meal not in asked]
        return show(
            request, "write_outcomes.html", home,
            questions=[(_told(one.meal, home), one.question) for one in found[-_MOST:]],
            others=[_told(one, home) for one in reversed(others[-_MOST:])],
        )  # fmt: skip


@router.post("/write/outcome")
def enter_outcome(request: Request, typed: Sent) -> Response:
    """Enter it."""
    number = meal_forms.number_of(typed)
    return enter(
        request,
        typed,
        lambda it: meal_forms.say_outcome(it, typed),
        lambda form: _one(request, number, form),
        {"outcome_at": "time", "removed_at": "time", "taken_at": "time"},
    )


def _one(request: Request, number: int, form: Form | None) -> Response:
    with looking(request) as home:
        meal = home.book.meal(number)
        form = form if form is not None else Form(meal_forms.outcome_values(meal, home))
        return show(
            request, "write_outcome.html", home, status=form.status,
            form=form, told=_told(meal, home), meal=meal,
        )  # fmt: skip


def _told(meal: Meal, home: Looking) -> dict[str, object]:
    """A meal as the templates want it, with a key of its own for its buttons."""
    return {
        "meal": meal.meal,
        "sentence": meal_sentence(meal, home.settings),
        "answers": meal_forms.answers_for(meal),
        "seen": meal_forms.version_of(home.book, meal),
        "key": fresh_key(),
    }
