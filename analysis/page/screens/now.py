"""What is going on now: what needs doing, and each enclosure in a sentence."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.page.enclosures_now import enclosures_now
from analysis.page.looking import looking
from analysis.page.screens import Entry
from analysis.page.showing import served, show
from analysis.page.todo import todos

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Now", "/", order=10)
_MOST_TODOS = 8


@router.get("/")
def now(request: Request) -> Response:
    """The first screen."""
    with looking(request) as home:
        todo = todos(home, served(request))
        return show(
            request, "now.html", home,
            enclosures=enclosures_now(home), todo=todo[:_MOST_TODOS], more=todo[_MOST_TODOS:],
        )  # fmt: skip
