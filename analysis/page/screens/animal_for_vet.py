"""An animal's records for a vet: choose the period, take the paper.

Rooms are found by the names of their modules: this one stands before `animals`, whose address takes
whatever follows.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from analysis.page.apart import NotMadeError, made_apart
from analysis.page.looking import Looking, looking
from analysis.page.parts import parts_of
from analysis.page.showing import show
from analysis.page.taking import as_file
from analysis.words import local_day_of
from config.errors import Unusable

router = APIRouter(include_in_schema=False)

Name = Annotated[str, Path(min_length=1, max_length=500)]
Day = Annotated[str | None, Query(max_length=40)]


@router.get("/animal/{name:path}/for-the-vet")
def form(request: Request, name: Name) -> Response:
    """The period: the last twelve months, unless it is changed."""
    with looking(request) as home:
        animal = home.book.animal(name)
        last = local_day_of(home.now_ms, home.zone)
        return show(
            request, "animal_for_vet.html", home,
            animal=animal.animal, first=last - timedelta(days=365), last=last,
        )  # fmt: skip


@router.get("/animal/{name:path}/for-the-vet.pdf")
def paper(
    request: Request, name: Name,
    begin: Annotated[Day, Query(alias="from")] = None,
    end: Annotated[Day, Query(alias="to")] = None,
) -> Response:  # fmt: skip
    """The paper itself, made in a process of its own."""
    with looking(request) as home:
        animal = home.book.animal(name).animal
        first, last = _period(home, begin, end)
        now_ms = home.now_ms
        start_ms, end_ms = _at(home, first), _at(home, last + timedelta(days=1))
    try:
        made = made_apart(
            parts_of(request).home, "analysis.for_vet",
            [f"--animal={animal}", f"--start={start_ms}", f"--end={end_ms}", f"--now={now_ms}"],
            ".pdf",
        )  # fmt: skip
    except NotMadeError as fault:
        heading = "The paper could not be made"
        return show(request, "fault.html", status=503, heading=heading, text=str(fault))
    return as_file(made, f"{animal} for the vet {last.isoformat()}.pdf", "application/pdf")


def _period(home: Looking, begin: str | None, end: str | None) -> tuple[date, date]:
    last = _day(end, "to") or local_day_of(home.now_ms, home.zone)
    first = _day(begin, "from") or last - timedelta(days=365)
    if first > last:
        raise Unusable(f"the period ends on {last}, before it begins on {first}")
    return first, last


def _day(text: str | None, name: str) -> date | None:
    if not text:
        return None
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise Unusable(f"{name}: {text!r} is not a day; write 2026-03-01") from None
    if not 1970 < found.year < 9999:
        raise Unusable(f"{name}: {text} lies outside 1971 to 9998")
    return found


def _at(home: Looking, day: date) -> int:
    moment = datetime(day.year, day.month, day.day, tzinfo=home.zone)
    return round(moment.timestamp() * 1000)
