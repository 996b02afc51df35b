"""All meals together: what became of them against how long it was cold, and the pattern in it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import RedirectResponse, Response

from analysis.page.looking import looking
from analysis.page.screens import Entry
from analysis.page.showing import show
from analysis.page.together_told import Asked, Order, day, together
from analysis.page.working import begin_anew, found

router = APIRouter(include_in_schema=False)
ENTRY = Entry("All meals", "/together", order=30)

_PATIENCE_S = 3.0
"""So long the first look waits for what is being worked out: a small book is done by then."""

_Text = Annotated[str, Query(max_length=500)]


@router.get("/together")
def all_together(
    request: Request,
    *,
    animal: _Text = "",
    first: _Text = "",
    last: _Text = "",
    order: Order = "newest",
    page: Annotated[int, Query(ge=1, le=1_000_000)] = 1,
) -> Response:
    """The screen."""
    asked = Asked(animal, day(first, "first day"), day(last, "last day"), order, page)
    with looking(request) as home:
        if animal:
            home.book.animal(animal)
        what = found(home, patience_s=_PATIENCE_S)
        return show(
            request, "together.html", home,
            asked=asked, found=what, names=[one.animal for one in home.book.animals()],
            told=together(what.meals.rows, asked, home) if what.meals is not None else None,
            offers=len(home.book.meals()),
        )  # fmt: skip


@router.post("/together/again")
def again(request: Request, to: Annotated[str, Form()] = "") -> Response:
    """Work it out again, whatever is kept. `to` is what was asked for, after its "?"."""
    with looking(request) as home:
        begin_anew(home)
    plain = to.isascii() and to.isprintable()
    return RedirectResponse(f"/together?{to}" if to and plain else "/together", status_code=303)
