"""A meal entered, and one corrected: animal, a look at what is prefilled, Save."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.meal_words import meal_sentence
from analysis.page.api.asking import MealNumber
from analysis.page.forms import meal_forms
from analysis.page.forms.entering import enter
from analysis.page.forms.form import Form
from analysis.page.forms.typed import Sent
from analysis.page.forms.who import Who, choose
from analysis.page.looking import looking
from analysis.page.showing import show

router = APIRouter(include_in_schema=False)


@router.get("/write/meal")
def meal(request: Request, animal: Who = None) -> Response:
    """Which animal; then the form, prefilled."""
    with looking(request) as home:
        name = choose(home, animal)
        if name is None:
            return show(request, "write_whom.html", home, of="A meal", animals=home.book.animals())
    return _new(request, name, None)


@router.post("/write/meal")
def enter_meal(request: Request, typed: Sent) -> Response:
    """Enter it."""
    return enter(
        request,
        typed,
        lambda it: meal_forms.begin_meal(it, typed),
        lambda form: _new(request, typed.text("animal"), form),
        meal_forms.new_names(typed),
    )


@router.get("/meal/{meal}/correct")
def correct(request: Request, meal: MealNumber) -> Response:
    """The form of a meal that is in the book."""
    return _correct(request, meal, None)


@router.post("/meal/{meal}/correct")
def enter_correction(request: Request, meal: MealNumber, typed: Sent) -> Response:
    """Enter what is right about it."""
    return enter(
        request,
        typed,
        lambda it: meal_forms.correct_meal(it, typed, meal),
        lambda form: _correct(request, meal, form),
    )


def _new(request: Request, animal: str, form: Form | None) -> Response:
    with looking(request) as home:
        name = home.book.animal(animal).animal
        values, said = meal_forms.new_values(home, name)
        form = form if form is not None else Form({"went": "offered", "ago": "now", **values})
        return show(
            request, "write_meal.html", home, status=form.status,
            form=form, animal=name, next_says=said, several=len(home.book.animals()) > 1,
        )  # fmt: skip


def _correct(request: Request, number: int, form: Form | None) -> Response:
    with looking(request) as home:
        meal = home.book.meal(number)
        form = form if form is not None else Form(meal_forms.correct_values(meal, home))
        return show(
            request, "write_correct.html", home, status=form.status,
            form=form, meal=meal, sentence=meal_sentence(meal, home.settings),
            seen=meal_forms.version_of(home.book, meal),
        )  # fmt: skip
