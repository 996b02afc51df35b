"""Where a link in a message leads: one alarm, what the link would do, and one button.

Its signature is the permission, so there is no session and nothing else to see. Opening it does
nothing, for what scans mail opens links; the button does it, once.
"""

from __future__ import annotations

import math
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from analysis.page.alarm_asking import notice_of
from analysis.page.alarm_told import Teller, possible
from analysis.page.looking import Looking, looking
from analysis.page.parts import parts_of
from analysis.page.showing import show
from analysis.watch.links import (
    WORDS,
    Offer,
    Trial,
    carry_out,
    made_here,
    require_standing,
    signing_key,
    used,
    verified,
)
from analysis.watch.requests import Action
from config.errors import NotSo

router = APIRouter(include_in_schema=False)

WHO = "link"
"""Who a change by a link is written down as."""
_DOES = {
    Action.ACKNOWLEDGE: "This acknowledges the alarm: you have seen it, and see to it.",
    Action.SHELVE: "This shelves the alarm for 2 h: it is quiet, and asks anew if it still stands "
    "then.",
}


@router.get("/answer/{token}")
def offered(request: Request, token: str) -> Response:
    """What the link would do, or what was made of it."""
    refused = _forged(request, token)
    if refused is not None:
        return refused
    with looking(request) as home:
        try:
            offer = verified(token, signing_key(home.home), home.now_ms)
            if isinstance(offer, Trial):
                return _show(request, home, trial=offer, tried=False)
            return _offer(request, home, token, offer)
        except NotSo as fault:
            return _refused(request, str(fault))


@router.post("/answer/{token}")
def confirmed(request: Request, token: str) -> Response:
    """Do it: the watch is asked. A link that was used asks nothing more."""
    refused = _forged(request, token)
    if refused is not None:
        return refused
    with looking(request) as home:
        try:
            if used(home.home, token) is not None:
                verified(token, signing_key(home.home), home.now_ms)
                return _offer_used(request, home, token, again=True)
            offer = carry_out(home.home, token, who=WHO, now_ms=home.now_ms)
        except NotSo as fault:
            return _refused(request, str(fault))
        if isinstance(offer, Trial):
            return _show(request, home, trial=offer, tried=True)
        return RedirectResponse(request.url.path, status_code=303)


def _offer(request: Request, home: Looking, token: str, offer: Offer) -> Response:
    if used(home.home, token) is not None:
        return _offer_used(request, home, token, again=False)
    require_standing(home.home, offer)
    teller = Teller(home)
    alarm = teller.alarms[offer.key]
    told = teller.told(alarm)
    possible_now = offer.action in possible(alarm) and told.may(offer.action)
    does, press = _DOES[offer.action], WORDS[offer.action]
    return _show(request, home, told=told, does=does, press=press if possible_now else None)


def _offer_used(request: Request, home: Looking, token: str, *, again: bool) -> Response:
    """What became of it. `again`: it was confirmed once more, which does nothing."""
    asked, teller = used(home.home, token), Teller(home)
    notice = None if asked is None else notice_of(asked, teller.alarms, home.now_ms, home.settings)
    return _show(request, home, status=409 if again else 200, notice=notice, again=again)


def _forged(request: Request, token: str) -> Response | None:
    """The refusal of a link that was not made here; each costs its sender time.

    One that was made here is always heard: a stranger's tries must not keep a keeper from
    answering, and nobody finds a signature by trying.
    """
    parts = parts_of(request)
    if made_here(token, signing_key(parts.home)):
        return None
    address = request.client.host if request.client is not None else ""
    wait_s = parts.access.link_throttle.wait_s(address)
    if wait_s > 0:
        seconds = math.ceil(wait_s)
        text = f"there were too many links that were not made here; try again in {seconds} s"
        return _refused(request, text, 429, {"retry-after": str(seconds)})
    text = "this link was not made here, or is not whole; open it from the message again"
    return _refused(request, text)


def _refused(
    request: Request, text: str, status: int = 404, headers: dict[str, str] | None = None
) -> Response:
    return show(
        request, "answer.html",
        status=status, headers=headers, refused=text, trial=None, told=None, notice=None,
    )  # fmt: skip


def _show(request: Request, home: Looking, *, status: int = 200, **context: Any) -> Response:
    nothing = {"refused": None, "trial": None, "told": None, "notice": None, "again": False}
    return show(request, "answer.html", home, status=status, **{**nothing, **context})
