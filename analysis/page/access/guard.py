"""Before everything else: what every request must satisfy, and what every answer carries.

1. The Host header names this page (see hosts).
2. Without a pass phrase: the request is from this machine, and no proxy handed it on.
3. With one: a session (its cookie), or a token that was not revoked (`Authorization: Bearer`, for
   `/api/` and `/metrics`). Open to all are the log-in, the files of the page, `/healthz`, and the
   signed links of messages. There no session counts: a browser that comes from a mail may leave
   its cookie out at first and bring it along with the form, which must be the same visitor's.
4. A request that may change something comes from a page of this origin and brings the token of a
   form that was shown to this visitor (field `form_token`, or header `X-Form-Token`).
"""

from __future__ import annotations

import logging
from urllib.parse import parse_qs, quote, urlencode, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analysis.page.access.access import Access
from analysis.page.access.headers import ALWAYS
from analysis.page.access.hosts import is_here, is_ours
from analysis.page.access.visit import Visit, cookie_name, set_cookie
from analysis.page.faults import UNEXPECTED, for_programs, say
from config.errors import WarmcoilError

log = logging.getLogger("page")

MOST_BODY_BYTES = 1_000_000
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_ANSWERS = "/answer/"
_OPEN_TO_ALL = ("/static/", _ANSWERS)
_OPEN_PATHS = frozenset({"/enter", "/healthz"})
_FORM = "application/x-www-form-urlencoded"
_HANDED_ON = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip")


class Guard:
    """The outermost part of the page."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        visit = Visit(self._access, secure=scope["scheme"] == "https")
        scope.setdefault("state", {})["visit"] = visit
        answer = _Answer(send, visit)
        try:
            refused, body = await self._judged(request, visit)
            if refused is not None:
                await refused(scope, receive, answer.send)
            else:
                await self._app(scope, receive if body is None else _again(body), answer.send)
        except Exception:  # whatever it is: it is logged, and nothing of it goes out
            log.exception("%s %s", request.method, request.url.path)
            if not answer.begun:
                await say(request, 500, UNEXPECTED)(scope, receive, answer.send)

    async def _judged(self, request: Request, visit: Visit) -> tuple[Response | None, bytes | None]:
        """The refusal, if there is one; and the body, where it had to be read."""
        refused = self._wrong_place(request)
        if refused is not None:
            return refused, None
        try:
            refused = await run_in_threadpool(self._wrong_visitor, request, visit)
        except WarmcoilError as fault:
            return say(request, 503, str(fault)), None
        if refused is not None or request.method in _SAFE or visit.bearer is not None:
            return refused, None
        return await self._wrong_form(request, visit)

    def _wrong_place(self, request: Request) -> Response | None:
        if len(request.headers.getlist("host")) != 1 or not is_ours(
            request.headers["host"], self._access.names
        ):
            return PlainTextResponse(
                "This page is not known under that name. Use this machine's address in figures, "
                "or write the name into warmcoil.toml: [page] address\n",
                status_code=421,
            )
        return None

    def _wrong_visitor(self, request: Request, visit: Visit) -> Response | None:
        """Whether this visitor may come here at all. Fills in the visit."""
        visit.form_cookie = request.cookies.get(cookie_name("form", visit.secure), "")
        if not self._access.passphrase.is_set:
            if not _is_from_here(request):
                return PlainTextResponse(
                    "No pass phrase is set, so this page answers its own machine only. On that "
                    "machine: warmcoil passphrase\n",
                    status_code=403,
                )
            return self._bearer(request, visit)
        if request.url.path.startswith(_ANSWERS):
            return None
        key = request.cookies.get(cookie_name("session", visit.secure), "")
        mark = self._access.passphrase.mark
        if self._access.sessions.holds(key, mark, self._access.now_ms()):
            visit.session = key
        refused = self._bearer(request, visit)
        if refused is not None or visit.signed_in or visit.bearer is not None:
            return refused
        return None if _is_open(request.url.path) else _to_the_door(request)

    def _bearer(self, request: Request, visit: Visit) -> Response | None:
        """A program's token, where it shows one; only good for what programs ask."""
        kind, _, token = request.headers.get("authorization", "").partition(" ")
        if kind.lower() != "bearer" or not for_programs(request.url.path):
            return None
        visit.bearer = self._access.tokens.holder(token.strip())
        return None if visit.bearer is not None else _show_a_token(request, "that token is not one")

    async def _wrong_form(
        self, request: Request, visit: Visit
    ) -> tuple[Response | None, bytes | None]:
        if not _is_own_origin(request):
            return say(request, 403, "This came from another web site. Nothing was done."), None
        body = await _body(request)
        if body is None:
            return say(request, 413, "More was sent than a form here can hold."), None
        token = request.headers.get("x-form-token") or _form_token(request, body)
        if not await run_in_threadpool(visit.is_own_form, token):
            text = (
                "This form was not shown to you by this page, or it has been open since before "
                "you came in. Nothing was entered; open it again and send it from there."
            )
            return say(request, 403, text), None
        return None, body


class _Answer:
    """Sends what comes back, with what every answer carries."""

    def __init__(self, send: Send, visit: Visit) -> None:
        self._send = send
        self._visit = visit
        self.begun = False

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in ALWAYS:
                headers.setdefault(name, value)
            visit = self._visit
            if visit.new_form_cookie:
                headers.append("set-cookie", set_cookie("form", visit.form_cookie, visit.secure))
        await self._send(message)


def _is_from_here(request: Request) -> bool:
    here = request.client is not None and is_here(request.client.host)
    return here and not any(name in request.headers for name in _HANDED_ON)


def _is_open(path: str) -> bool:
    return path in _OPEN_PATHS or path.startswith(_OPEN_TO_ALL)


def _to_the_door(request: Request) -> Response:
    if for_programs(request.url.path):
        return _show_a_token(request, "a token is needed: warmcoil token new NAME")
    if request.method not in _SAFE:
        return say(request, 401, "You are not signed in any more. Nothing was entered.")
    to = quote(request.scope["path"]) + (f"?{request.url.query}" if request.url.query else "")
    door = "/enter" if to == "/" else f"/enter?{urlencode({'to': to})}"
    return RedirectResponse(door, status_code=303)


def _show_a_token(request: Request, text: str) -> Response:
    return say(request, 401, text, {"www-authenticate": 'Bearer realm="warmcoil"'})


def _is_own_origin(request: Request) -> bool:
    """By what the browser says of where the request comes from (Fetch standard; RFC 6454)."""
    origin = request.headers.get("origin")
    if origin is not None:
        return urlsplit(origin).netloc.lower() == request.headers["host"].lower()
    return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")


async def _body(request: Request) -> bytes | None:
    """The whole body, or None when it is too long."""
    got = bytearray()
    async for part in request.stream():
        got += part
        if len(got) > MOST_BODY_BYTES:
            return None
    return bytes(got)


def _form_token(request: Request, body: bytes) -> str:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != _FORM:
        return ""
    try:
        fields = parse_qs(body.decode("utf-8"), max_num_fields=500)
    except ValueError:  # not UTF-8, or far too many fields
        return ""
    return fields.get("form_token", [""])[0]


def _again(body: bytes) -> Receive:
    """The body that was read, for who comes after."""
    told = False

    async def receive() -> Message:
        nonlocal told
        if told:
            return {"type": "http.disconnect"}
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive
