"""The alarms: what waits for an answer, what was answered, and those of the last days.

Pressing asks the watch, which alone changes alarms; the page then shows what it made of it.
"""

from __future__ import annotations

import re
import secrets
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import RedirectResponse, Response

from analysis.page.alarm_asking import Notice, end_of, ends, notice_of, waiting_words
from analysis.page.alarm_past import SHOWN_DAYS, past_told
from analysis.page.alarm_told import AlarmTold, Teller, possible
from analysis.page.alarm_words import state_words
from analysis.page.looking import WHO, Looking, looking
from analysis.page.screens import Entry
from analysis.page.showing import show
from analysis.watch.names import alarm_of
from analysis.watch.requests import Action, ask, asked, asked_with
from analysis.watch.states import State
from config.errors import Unusable

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Alarms", "/alarms", order=40)

_HERE = (Action.ACKNOWLEDGE, Action.SHELVE, Action.UNSHELVE, Action.OUT_OF_SERVICE,
         Action.IN_SERVICE)  # fmt: skip
_NOT_SURE = (
    "Nothing was asked: an alarm that is out of service says nothing, however cold it gets. Tick "
    "that you look after it yourself meanwhile."
)
_MARK = re.compile(r"[0-9a-f]{24}")
_CODE = re.compile(r"[0-9a-f]{6}")


@router.get("/alarms")
def alarms(
    request: Request, number: Annotated[int | None, Query(alias="asked", ge=1, le=2**53)] = None
) -> Response:
    """The screen; with `asked`, what became of that request."""
    with looking(request) as home:
        teller, notice = Teller(home), None
        found = asked(home.home.alarms, number) if number is not None else None
        if found is not None:
            notice = notice_of(found, teller.alarms, home.now_ms, home.settings)
        return _shown(request, home, teller, notice)


@router.post("/alarms")
def answer(
    request: Request,
    *,
    alarm: Annotated[str, Form()] = "",
    action: Annotated[str, Form()] = "",
    seen: Annotated[str, Form()] = "",
    mark: Annotated[str, Form()] = "",
    until: Annotated[str, Form()] = "",
    sure: Annotated[str, Form()] = "",
) -> Response:
    """Ask the watch to do something with an alarm. The same form sent twice asks once."""
    if not (_MARK.fullmatch(mark) and _CODE.fullmatch(alarm) and action in _HERE):
        raise Unusable("what was sent is not a form of this page; nothing was asked")
    with looking(request) as home:
        before = asked_with(home.home.alarms, f"{WHO} {mark}")
        if before is not None:
            return _to(before.request.number)
        teller = Teller(home)
        found = alarm_of(alarm, teller.alarms.values())
        if seen != str(found.changed_ms or "") or action not in possible(found):
            text = (
                f"Nothing was asked: it has changed since this page was shown, and is now "
                f"{state_words(found, home.settings)}. Look at it, and answer again."
            )
            return _shown(request, home, teller, Notice(text), status=409)
        if action == Action.OUT_OF_SERVICE and sure != "yes":
            return _shown(request, home, teller, Notice(_NOT_SURE), status=422)
        end_ms = end_of(until, home.now_ms) if action == Action.SHELVE else None
        number = ask(
            home.home.alarms, Action(action), found.key,
            who=WHO, now_ms=home.now_ms, until_ms=end_ms, mark=f"{WHO} {mark}",
        )  # fmt: skip
        return _to(number)


def _to(number: int) -> Response:
    return RedirectResponse(f"/alarms?asked={number}", status_code=303)


def _shown(
    request: Request, home: Looking, teller: Teller, notice: Notice | None, *, status: int = 200
) -> Response:
    return show(
        request, "alarms.html", home,
        status=status,
        notice=notice,
        again=request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        sections=_sections(teller.open()),
        past=past_told(teller.past, home.now_ms, home.settings),
        past_days=SHOWN_DAYS,
        ends=ends(home.now_ms, home.settings),
        waiting=lambda one: waiting_words(one, home.now_ms, home.settings),
        new_mark=lambda: secrets.token_hex(12),
    )  # fmt: skip


def _sections(told: list[AlarmTold]) -> list[tuple[str, str, list[AlarmTold]]]:
    """What is shown, as (id, heading, alarms); the states in the terms of ISA-18.2."""
    headings = {
        State.UNACKNOWLEDGED: "Not acknowledged",
        State.RETURNED: "Returned to normal, not acknowledged",
        State.ACKNOWLEDGED: "Acknowledged, and still standing",
        "shelved": "Shelved",
        "out of service": "Out of service",
    }
    found = (
        (state.replace(" ", "-"), heading, [o for o in told if o.alarm.shown_state == state])
        for state, heading in headings.items()
    )
    return [one for one in found if one[2]]
