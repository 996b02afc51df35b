"""Is it well: `/healthz`, for who restarts or watches the machine. Open to all, so it says little.

200 when book and readings can be read and the collector is not known to have ended; 503 otherwise.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse

from analysis.page.parts import Parts, parts_of
from analysis.watch.facts import Facts
from collector.book.book import Book
from config.errors import StoreFault

log = logging.getLogger("page")

router = APIRouter(tags=["health"])


@router.get("/healthz", responses={503: {"description": "Something cannot be read."}})
def healthz(request: Request) -> JSONResponse:
    """Whether book and readings can be read, and how old collector and readings are."""
    found = health(parts_of(request))
    return JSONResponse(found, status_code=200 if found["well"] else 503)


def health(parts: Parts) -> dict[str, Any]:
    """The document."""
    now_ms = parts.now_ms()
    newest: list[int] = []
    store = _can(lambda: newest.extend(r.at_ms for r in parts.reader.latest().values()))
    book = _can(lambda: _read_book(parts))
    ended = Facts(parts.home).account().ended
    return {
        "well": store and book and ended is not True,
        "store_readable": store,
        "book_readable": book,
        "collector_running": None if ended is None else not ended,
        "collector_state_age_seconds": _state_age_s(parts, now_ms),
        "newest_reading_age_seconds": (now_ms - max(newest)) / 1000 if newest else None,
    }


def _can(look: Callable[[], object]) -> bool:
    try:
        look()
    except StoreFault as fault:
        log.warning("%s", fault)  # one line: no trace is needed
        return False
    return True


def _read_book(parts: Parts) -> None:
    with Book(parts.home.book, read_only=True) as book:
        book.enclosures()


def _state_age_s(parts: Parts, now_ms: int) -> float | None:
    """Since the collector's account changed: it is written at most once a minute."""
    try:
        return now_ms / 1000 - parts.home.collector_state.stat().st_mtime
    except OSError:
        return None
