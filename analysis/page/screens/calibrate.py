"""A guided calibration: one bath at a time, how steady the probe is, and the point kept or left."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from analysis.calibrating import Steadiness
from analysis.calibration_taking import (
    about_humidity,
    first_point,
    ice_point,
    must_be_heard,
    second_point,
    steady_now,
)
from analysis.calibration_words import (
    CAUTIONS,
    ICE_STEPS,
    SECOND_STEPS,
    TAKEN_OUT,
    result_words,
    steady_words,
)
from analysis.page.forms.entering import Desk, enter
from analysis.page.forms.form import Form
from analysis.page.forms.typed import Sent, Typed
from analysis.page.looking import looking
from analysis.page.parts import parts_of
from analysis.page.showing import show
from analysis.placing import lying
from analysis.words import local_time
from collector.store.reader import Reader
from config.errors import NotSo, Unusable

router = APIRouter(include_in_schema=False)

ICE: Final = "ice"
SECOND: Final = "second"
ProbeName = Annotated[str, Query(min_length=1, max_length=500)]
_USUAL = {"sure_c": "0.1"}


@router.get("/probes/calibrate")
def calibrate(
    request: Request, probe: ProbeName, bath: Annotated[Literal["ice", "second"], Query()] = ICE
) -> Response:
    """One bath: what to prepare, how steady the probe is, and the form that keeps the point."""
    return _show(request, probe, bath, Form(_USUAL))


@router.post("/probes/calibrate")
def kept(request: Request, typed: Sent) -> Response:
    """Keep the point, once, as the probe reads now."""
    probe, bath = typed.text("probe"), typed.text("bath")
    reader = parts_of(request).reader
    return enter(
        request,
        typed,
        lambda it: _keep(it, typed, reader, probe, bath),
        lambda form: _show(request, probe, bath, form),
    )


def _keep(it: Desk, typed: Typed, reader: Reader, probe: str, bath: str) -> None:
    must_be_heard(reader, probe)
    if bath == ICE:
        it.enter(ice_point(probe, _steady(it, reader, probe), it.now_ms))
        return
    if bath != SECOND:
        raise Unusable("what was sent is not a form of this page; nothing was entered")
    true_c, sure_c = typed.read("true_c", _celsius), typed.read("sure_c", _celsius)
    for name, value in (("true_c", true_c), ("sure_c", sure_c)):
        if value is None and name not in typed.faults:
            typed.faults[name] = "is empty; the point needs it"
    it.readable()
    first = first_point(it.book, probe, it.now_ms)
    if first is None:
        raise Unusable("there is no ice point of the last day to join; take the ice point first")
    if true_c is not None and sure_c is not None:
        it.enter(second_point(first, _steady(it, reader, probe), true_c, sure_c, now_ms=it.now_ms))


def _steady(it: Desk, reader: Reader, probe: str) -> Steadiness:
    found = steady_now(reader, probe, it.now_ms)
    if found is None or found.why_not is not None:
        raise Unusable(f"Nothing was entered. {steady_words(found)}")
    return found


def _celsius(text: str) -> float:
    try:
        return float(text.replace(",", ".").replace("−", "-").removesuffix("°C"))
    except ValueError:
        raise Unusable("is not a number of °C; write for example 37.1") from None


def _show(request: Request, probe: str, bath: str, form: Form) -> Response:
    with looking(request) as home:
        must_be_heard(home.reader, probe)
        if bath not in (ICE, SECOND):
            raise NotSo("there is no such bath; begin again from the list of probes")
        found = steady_now(home.reader, probe, home.now_ms)
        first = first_point(home.book, probe, home.now_ms)
        last = home.book.calibrations(probe)[-1:]
        return show(
            request, "probe_calibrate.html", home, status=form.status, form=form,
            probe=probe, name=home.settings.probe_names.get(probe), bath=bath,
            steady=found is not None and found.why_not is None,
            words=steady_words(found),
            cautions=[*CAUTIONS, *filter(None, [about_humidity(home.reader, probe)])],
            taken_out=TAKEN_OUT if lying(home.book, probe, home.now_ms) else None,
            steps=[one.partition(" ")[2] for one in (ICE_STEPS if bath == ICE else SECOND_STEPS)],
            first=first and local_time(first.at_ms, home.zone),
            last=result_words(last[0]) if last else None,
            last_at=local_time(last[0].at_ms, home.zone) if last else None,
        )  # fmt: skip
