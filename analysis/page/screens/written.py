"""What was entered, in a sentence, with a button that takes it back."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import RedirectResponse, Response

from analysis.calibration_words import result_words
from analysis.entering.after import perhaps_passed, vet_words
from analysis.entering.desk import Desk
from analysis.entering.told import MANY, entry_words
from analysis.page.forms.entering import enter
from analysis.page.forms.form import Form
from analysis.page.forms.typed import Sent
from analysis.page.looking import looking
from analysis.page.showing import show
from collector.book.records import Calibrated, Dropping, Meal

router = APIRouter(include_in_schema=False)
EntryNumber = Annotated[int, Path(ge=1, le=2**53)]


@router.get("/written/{entry}")
def written(request: Request, entry: EntryNumber) -> Response:
    """The screen."""
    return _show(request, entry, Form({}))


@router.post("/written/{entry}")
def take_back(request: Request, entry: EntryNumber, typed: Sent) -> Response:
    """Take it back."""
    return enter(
        request,
        typed,
        lambda it: it.book.undo(entry),
        lambda form: _show(request, entry, form),
    )


def _show(request: Request, entry: int, form: Form) -> Response:
    with looking(request) as home:
        it = Desk(home.book, home.settings, home.now_ms)
        changes = home.book.entry(entry)
        first = changes[0]
        if first.entry != entry:
            return RedirectResponse(f"/written/{first.entry}", status_code=303)
        records = [home.book.after(one) for one in changes]
        there = [one for one in records if one is not None]
        gone = home.book.taken_back_by(entry)
        droppings = next((one for one in there if isinstance(one, Dropping)), None)
        return show(
            request, "written.html", home, status=form.status, form=form,
            entry=entry, said=entry_words(it, changes), undoes=first.undoes, gone=gone,
            many=len(changes) > MANY,
            warnings=[words for words in map(vet_words, there) if words is not None],
            calibrations=[(o, result_words(o)) for o in there if isinstance(o, Calibrated)],
            meals=[one for one in there if isinstance(one, Meal)],
            perhaps=perhaps_passed(home.book.meals(droppings.animal), droppings)
            if droppings is not None
            else None,
        )  # fmt: skip
