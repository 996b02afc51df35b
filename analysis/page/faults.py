"""What goes wrong, in plain words: what happened and what to do, never a traceback."""

from __future__ import annotations

import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from analysis.page.showing import show
from config.errors import NotSo, StoreFault, Unusable, WarmcoilError

log = logging.getLogger("page")

_HEADINGS = {
    400: "That cannot be taken",
    401: "Say the pass phrase first",
    403: "Not from there",
    404: "There is nothing here",
    405: "Not in this way",
    413: "Too much at once",
    415: "Not in this form",
    421: "Not under this name",
    422: "That cannot be taken",
    429: "Too many attempts",
    503: "The home's files cannot be read just now",
}
_HTTP_TEXTS = {
    404: "No page has this address. It may have been moved, or the address is not whole.",
    405: "This address is not to be used in this way.",
}
_SOMETHING = "Something unexpected happened"
UNEXPECTED = "The page went wrong here. Alarms and readings go on; the page's log says more."


class Fault(BaseModel):
    """What a program is told when its request cannot be answered."""

    fault: str


DESCRIBED: dict[int | str, dict[str, Any]] = {
    status: {"model": Fault, "description": _HEADINGS[status]}
    for status in (400, 401, 404, 422, 503)
}
"""For the API's description: what may come back instead of an answer."""


def register(app: FastAPI) -> None:
    """Have every fault answered; what is unexpected, the guard answers."""
    app.add_exception_handler(WarmcoilError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)


def say(
    request: Request, status: int, text: str, headers: dict[str, str] | None = None
) -> Response:
    """A fault as a page, or as JSON for who asked the API."""
    if for_programs(request.url.path):
        return JSONResponse({"fault": text}, status_code=status, headers=headers)
    heading = _HEADINGS.get(status, _SOMETHING)
    return show(request, "fault.html", status=status, headers=headers, heading=heading, text=text)


def for_programs(path: str) -> bool:
    """True for what programs ask, not people."""
    return path.startswith("/api/") or path in ("/healthz", "/metrics")


def _ours(request: Request, fault: Exception) -> Response:
    text = str(fault)
    if isinstance(fault, NotSo):
        return say(request, 404, text)
    if isinstance(fault, Unusable):
        return say(request, 400, text)
    if isinstance(fault, StoreFault):
        log.error("%s", text)
    return say(request, 503, text)


def _http(request: Request, fault: Exception) -> Response:
    known = fault if isinstance(fault, HTTPException) else HTTPException(500)
    headers = dict(known.headers) if known.headers else None
    text = _HTTP_TEXTS.get(known.status_code, str(known.detail))
    return say(request, known.status_code, text, headers)


def _invalid(request: Request, fault: Exception) -> Response:
    found = fault.errors() if isinstance(fault, RequestValidationError) else []
    said = "; ".join(f"{one['loc'][-1]}: {_why(one)}" for one in found)
    return say(request, 422, said or "what was sent is not what this address takes")


def _why(one: dict[str, Any]) -> str:
    """The checker's words, but for those that only a programmer would say."""
    return "is not given" if one["type"] == "missing" else str(one["msg"])
