"""The door: saying the pass phrase, and leaving."""

from __future__ import annotations

import math
import threading
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from analysis.page.access.sessions import LONGEST_MS
from analysis.page.access.visit import set_cookie, visit_of
from analysis.page.faults import say
from analysis.page.parts import parts_of
from analysis.page.showing import show

router = APIRouter(include_in_schema=False)

_ONE_AT_A_TIME = threading.Lock()
"""Looking at a pass phrase takes memory on purpose; a small board has it once."""
_PATIENCE_S = 10.0


@router.get("/enter", name="enter")
def enter(request: Request, to: str = "/") -> Response:
    """The form; with nothing to say, the page itself."""
    if visit_of(request).signed_in or not parts_of(request).access.passphrase.is_set:
        return RedirectResponse(_own_path(to), status_code=303)
    return show(request, "enter.html", to=_own_path(to), wrong=False)


@router.post("/enter")
def come_in(
    request: Request, passphrase: Annotated[str, Form()] = "", to: Annotated[str, Form()] = "/"
) -> Response:
    """Let in who says the pass phrase."""
    access, visit = parts_of(request).access, visit_of(request)
    address = request.client.host if request.client is not None else ""
    wait_s = access.throttle.wait_s(address)
    if wait_s > 0:
        return _wait(request, wait_s)
    mark = access.passphrase.mark
    if not _ONE_AT_A_TIME.acquire(timeout=_PATIENCE_S):
        return _wait(request, _PATIENCE_S)
    try:
        right = access.passphrase.fits(passphrase)
    finally:
        _ONE_AT_A_TIME.release()
    if not right:
        return show(request, "enter.html", status=403, to=_own_path(to), wrong=True)
    access.throttle.was_right(address)
    key = access.sessions.begin(mark, access.now_ms())
    answer = RedirectResponse(_own_path(to), status_code=303)
    answer.headers.append(
        "set-cookie", set_cookie("session", key, visit.secure, max_age_s=LONGEST_MS // 1000)
    )
    return answer


@router.post("/leave")
def leave(request: Request) -> Response:
    """End this session."""
    visit = visit_of(request)
    parts_of(request).access.sessions.end(visit.session)
    answer = RedirectResponse("/enter", status_code=303)
    answer.headers.append("set-cookie", set_cookie("session", "", visit.secure, max_age_s=0))
    return answer


def _wait(request: Request, wait_s: float) -> Response:
    seconds = math.ceil(wait_s)
    text = f"There were too many wrong pass phrases. Try again in {seconds} s."
    return say(request, 429, text, {"retry-after": str(seconds)})


def _own_path(to: str) -> str:
    """A path of this page; anything else could lead away from it."""
    plain = to.isprintable() and to.startswith("/") and not to.startswith(("//", "/\\"))
    return to if plain and "\\" not in to else "/"
