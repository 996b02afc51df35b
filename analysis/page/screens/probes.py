"""Probes and places: what each says, moving one, and finding the one in a warm hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import RedirectResponse, Response

from analysis import moments
from analysis.change_words import change_words, record_words
from analysis.page.api.seeking import Began, seek_here
from analysis.page.looking import Looking, looking, writing
from analysis.page.parts import parts_of
from analysis.page.probes_told import probes_told
from analysis.page.screens import Entry
from analysis.page.showing import show
from analysis.placing import enclosure_named, lying, zone_named
from analysis.probes import probe_states
from analysis.seeking import BEGIN
from analysis.words import local_time
from collector.book.history import Change
from collector.book.records import Placement, Zone
from collector.haste import hasten
from config.errors import BadEntry, NotSo, Unusable, WarmcoilError

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Probes", "/probes", order=50)

ProbeName = Annotated[str, Query(min_length=1, max_length=500)]
_FRESH_MS = 10 * 60_000
Field = Annotated[str, Form(max_length=500)]


@router.get("/probes")
def probes(request: Request, done: Annotated[int | None, Query(ge=1, le=2**53)] = None) -> Response:
    """Every probe; `done` is a change that was made here just now, to be taken back."""
    with looking(request) as home:
        change = _change(home, done)
        said = None
        if change is not None:
            after = home.book.after(change)
            said = change_words(change, after, home.settings, home.now_ms)
        return show(request, "probes.html", home, probes=probes_told(home), done=done, said=said)


def _change(home: Looking, number: int | None) -> Change | None:
    """A change of a placement that still holds, or None."""
    if number is None:
        return None
    try:
        found = home.book.to_take_back(number)
    except NotSo:
        return None
    return found[-1] if all(one.kind == "placement" for one in found) else None


@router.get("/probes/move")
def move(request: Request, probe: ProbeName) -> Response:
    """The form that says where a probe lies from now on."""
    with looking(request) as home:
        now = {"enclosure": "", "zone": "", "since": ""}
        place = _known(home, probe)
        if place is not None:
            now |= {"enclosure": place.enclosure, "zone": place.zone.value}
        return _form(request, home, probe, now)


@router.post("/probes/move")
def moved(
    request: Request, probe: Field = "", enclosure: Field = "", zone: Field = "", since: Field = ""
) -> Response:
    """Enter it; sent twice it is entered once, as probe and minute are the same."""
    given = {"enclosure": enclosure, "zone": zone, "since": since}
    with writing(request) as home:
        try:
            _known(home, probe)
            record = _record(home, probe, given)
            home.book.put(record)
        except WarmcoilError as fault:
            return _form(request, home, probe, given, str(fault))
        done = [one for one in home.book.history(record) if _is_fresh(one, home)]
    query = f"?{urlencode({'done': done[-1].number})}" if done else ""
    return RedirectResponse(f"/probes{query}", status_code=303)


def _is_fresh(change: Change, home: Looking) -> bool:
    """Made just now: what an old entry that is sent again would take back is not offered."""
    return home.now_ms - change.at_ms < _FRESH_MS


@router.post("/probes/undo")
def undo(request: Request, number: Annotated[int, Form(ge=1, le=2**53)]) -> Response:
    """Take back a placement entered here."""
    with writing(request) as home:
        if _change(home, number) is None:
            raise NotSo("that was taken back already, or is no placement: nothing was changed")
        home.book.undo(number)
    return RedirectResponse("/probes", status_code=303)


@router.post("/probes/find")
def begin(request: Request) -> Response:
    """Begin to look for the probe in a hand."""
    parts = parts_of(request)
    now_ms = parts.now_ms()
    hasten(parts.home.haste, now_ms)
    return RedirectResponse(f"/probes/find?{urlencode({'began': now_ms})}", status_code=303)


@router.get("/probes/find")
def finding(request: Request, began: Began) -> Response:
    """How far it is; without a script it is looked at anew by hand."""
    with looking(request) as home:
        sought = seek_here(home, began)
        return show(request, "probe_find.html", home, sought=sought, began=began, begin=BEGIN)


def _known(home: Looking, probe: str) -> Placement | None:
    """Where a probe lies now. Raises NotSo for one that nothing knows of."""
    states = probe_states(home.book, home.reader, home.settings, home.now_ms)
    found = [one for one in states if one.probe == probe]
    if not found and not home.book.placements(probe):
        raise NotSo(f"no probe {probe!r} was heard, placed or named in the settings")
    return found[0].placement if found else None


def _record(home: Looking, probe: str, given: dict[str, str]) -> Placement:
    """The placement that the form means. Raises what the form then says."""
    at_ms = home.now_ms // 60_000 * 60_000
    if given["since"]:
        at_ms = moments.moment(given["since"], home.zone, home.now_ms, "since").at_ms
    if at_ms > home.now_ms + moments.AHEAD_MS:
        raise Unusable(f"since: {local_time(at_ms, home.zone)} is still to come; correct the time")
    if not given["enclosure"]:
        return _taken_out(home, probe, at_ms)
    where = enclosure_named(home.book, given["enclosure"])
    record = Placement(probe, where, zone_named(given["zone"]), at_ms)
    stored = home.book.stored(record)
    if stored is not None and replace(stored, until_ms=None) != record:
        known = record_words(stored, home.settings, home.now_ms)
        raise BadEntry(f"the book has that already: {known}; choose another minute")
    return record if stored is None else stored


def _taken_out(home: Looking, probe: str, at_ms: int) -> Placement:
    there = lying(home.book, probe, at_ms)
    if there is not None:
        stored = home.book.stored(there) or there
        return replace(stored, until_ms=at_ms)
    ended = [one for one in home.book.placements(probe, as_written=True) if one.until_ms == at_ms]
    if ended:
        return ended[0]
    raise NotSo(f"it lies nowhere at {local_time(at_ms, home.zone)}; nothing was changed")


def _form(
    request: Request, home: Looking, probe: str, given: dict[str, str], fault: str = ""
) -> Response:
    context: dict[str, Any] = {
        "probe": probe,
        "given": given,
        "fault": fault,
        "enclosures": [one.enclosure for one in home.book.enclosures()],
        "zones": [zone.value for zone in Zone],
    }
    return show(request, "probe_move.html", home, status=422 if fault else 200, **context)
