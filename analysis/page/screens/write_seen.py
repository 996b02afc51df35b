"""What is seen of an animal: a weight, a handling, a shed, a look, droppings."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.page.forms.entering import enter
from analysis.page.forms.form import Form
from analysis.page.forms.seen_forms import SEEN, SeenForm, enter_seen
from analysis.page.forms.typed import Sent
from analysis.page.forms.who import Who, choose
from analysis.page.looking import looking
from analysis.page.showing import show

router = APIRouter(include_in_schema=False)


def _screens(of: SeenForm) -> None:
    """The two addresses of one form."""

    def form(request: Request, animal: Who = None) -> Response:
        with looking(request) as home:
            name = choose(home, animal)
            if name is None:
                return show(
                    request, "write_whom.html", home, of=of.heading, animals=home.book.animals()
                )
        return _form(request, of, name, None)

    def sent(request: Request, typed: Sent) -> Response:
        return enter(
            request,
            typed,
            lambda it: enter_seen(it, typed, of),
            lambda form: _form(request, of, typed.text("animal"), form),
        )

    router.add_api_route(f"/write/{of.name}", form, methods=["GET"])
    router.add_api_route(f"/write/{of.name}", sent, methods=["POST"])


def _form(request: Request, of: SeenForm, animal: str, form: Form | None) -> Response:
    with looking(request) as home:
        name = home.book.animal(animal).animal
        form = form if form is not None else Form({"ago": "now", **of.starts})
        return show(
            request, "write_seen.html", home, status=form.status,
            form=form, of=of, animal=name, several=len(home.book.animals()) > 1,
        )  # fmt: skip


for _one in SEEN.values():
    _screens(_one)
