"""Probes and places: what each says, moving one, and finding the one in a warm hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from analysis.page.api.seeking import Began, seek_here
from analysis.page.forms.entering import Desk, enter
from analysis.page.forms.form import Form
from analysis.page.forms.typed import Sent, Typed
from analysis.page.looking import Looking, looking
from analysis.page.parts import parts_of
from analysis.page.probes_told import probes_told
from analysis.page.screens import Entry
from analysis.page.showing import show
from analysis.placing import lying
from analysis.probes import probe_states
from analysis.seeking import BEGIN
from analysis.words import local_time
from collector.book.records import Placement, Zone
from collector.haste import hasten
from config.errors import NotSo, Unusable

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Probes", "/probes", order=50)

ProbeName = Annotated[str, Query(min_length=1, max_length=500)]


@router.get("/probes")
def probes(request: Request) -> Response:
    """Every probe."""
    with looking(request) as home:
        return show(request, "probes.html", home, probes=probes_told(home))


@router.get("/probes/move")
def move(request: Request, probe: ProbeName) -> Response:
    """The form that says where a probe lies from now on."""
    return _form(request, probe, None)


@router.post("/probes/move")
def moved(request: Request, typed: Sent) -> Response:
    """Enter it, once."""
    probe = typed.text("probe")
    return enter(
        request,
        typed,
        lambda it: _enter(it, typed, probe),
        lambda form: _form(request, probe, form),
        names={"since": "time", "until": "time"},
    )


@router.post("/probes/find")
def begin(request: Request) -> Response:
    """Begin to look for the probe in a hand."""
    parts = parts_of(request)
    now_ms = parts.now_ms()
    hasten(parts.home.haste, now_ms)
    return RedirectResponse(f"/probes/find?{urlencode({'began': now_ms})}", status_code=303)


@router.get("/probes/find")
def finding(request: Request, began: Began | None = None) -> Response:
    """How far it is; without a script it is looked at anew by hand. Not begun: where one begins."""
    if began is None:
        return RedirectResponse("/probes", status_code=303)
    with looking(request) as home:
        sought = seek_here(home, began)
        return show(request, "probe_find.html", home, sought=sought, began=began, begin=BEGIN)


def _form(request: Request, probe: str, form: Form | None) -> Response:
    with looking(request) as home:
        place = _known(home, probe)
        if form is None:
            there = {} if place is None else {"enclosure": place.enclosure, "zone": place.zone}
            form = Form({"ago": "now", **there})
        return show(
            request, "probe_move.html", home, status=form.status, form=form, probe=probe,
            name=home.settings.probe_names.get(probe),
            enclosures=[one.enclosure for one in home.book.enclosures()],
            zones=[(zone.value, zone.value.capitalize()) for zone in Zone],
        )  # fmt: skip


def _known(home: Looking, probe: str) -> Placement | None:
    """Where a probe lies now. Raises NotSo for one that nothing knows of."""
    states = probe_states(home.book, home.reader, home.settings, home.now_ms)
    found = [one for one in states if one.probe == probe]
    if not found and not home.book.placements(probe):
        raise NotSo(f"no probe {probe!r} was heard, placed or named in the settings")
    return found[0].placement if found else None


def _enter(it: Desk, typed: Typed, probe: str) -> None:
    names = [one.enclosure for one in it.book.enclosures()]

    def known(name: str) -> str:
        if name not in names:
            raise Unusable(f"no enclosure {name!r} in the book; choose again")
        return name

    at_ms = typed.when(it)
    where, zone = typed.read("enclosure", known), typed.word("zone", Zone)
    if where is not None and zone is None and "zone" not in typed.faults:
        typed.faults["zone"] = "say where in it the probe lies"
    it.readable()
    if where is None or zone is None:
        _take_out(it, probe, at_ms)
        return
    record = Placement(probe, where, zone, at_ms)
    it.must_be_new(record)
    it.enter(record)


def _take_out(it: Desk, probe: str, at_ms: int) -> None:
    there = lying(it.book, probe, at_ms)
    if there is None:
        raise Unusable(f"it lies nowhere at {local_time(at_ms, it.settings.zone)}")
    it.enter(replace(there, until_ms=at_ms))
