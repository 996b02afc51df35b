"""`warmcoil calibrate`: one point or two, guided or from a script."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from analysis.calibrating import K, Steadiness, point
from analysis.calibration_taking import (
    MOST_UNSURE_C,
    about_humidity,
    first_point,
    ice_point,
    must_be_heard,
    one_point,
    second_point,
    steady_now,
    with_second,
)
from analysis.calibration_words import (
    CAUTIONS,
    ICE_STEPS,
    SECOND_STEPS,
    TAKEN_OUT,
    outcome_words,
    steady_words,
)
from analysis.cli import common
from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import Desk, NoteOption, at_a_terminal, desk
from analysis.placing import probe_named
from collector.book.records import Calibrated
from collector.store.opening import open_reader
from config.errors import NotSo, Unusable
from config.settings import load_settings

_LOOK_EVERY_S = 2.0
_SAY_EVERY_S = 20.0


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command()(calibrate)


def calibrate(
    probe: Annotated[str, typer.Argument(metavar="PROBE", help="Its identity or its name.")],
    *,
    ice: Annotated[
        bool, typer.Option("--ice", help="It is in an ice bath: take that point, ask nothing.")
    ] = False,
    second_c: Annotated[
        float | None,
        typer.Option(
            "--second-c", metavar="C", min=-55, max=125,
            help="It is in a bath of this temperature, in °C: take that point, ask nothing.",
        ),
    ] = None,
    reference_uncertainty: Annotated[
        float | None,
        typer.Option(
            "--reference-uncertainty", metavar="C", min=0.001, max=MOST_UNSURE_C,
            help="Of the reference thermometer, in °C, expanded (k = 2) as certificates have it.",
        ),
    ] = None,
    wait: Annotated[
        float,
        typer.Option("--wait", metavar="MIN", min=0, max=120, help="For steady readings at most."),
    ] = 30.0,
    note: NoteOption = None,
    home: HomeOption = None,
) -> None:  # fmt: skip
    """Hold a probe against ice and a second point; what it reads from then on is corrected.

    Without --ice and --second-c it leads through both, step by step.
    """
    if ice and second_c is not None:
        raise Unusable("one bath at a time: first --ice, then --second-c from the second bath")
    if (second_c is None) != (reference_uncertainty is None):
        raise Unusable("--second-c and --reference-uncertainty belong together; give both")
    with desk(home) as it:
        live = _Live(home, probe_named(it.settings, probe), wait)
        if ice:
            _keep(it, ice_point(live.probe, _steady(live), common.now_ms(), note))
        elif second_c is not None and reference_uncertainty is not None:
            _second(it, live, second_c, reference_uncertainty, note)
        else:
            _guided(it, live, note)


class _Live:
    """What one probe reads now, uncorrected. Raises NotSo for one that was never heard."""

    def __init__(self, home: Path | None, probe: str, wait_min: float) -> None:
        self.probe = probe
        self.wait_s = wait_min * 60
        where = common.home_at(home)
        self._reader = open_reader(where, load_settings(where), patient=True)
        must_be_heard(self._reader, probe)

    def steadiness(self) -> Steadiness | None:
        """How steady it is now."""
        return steady_now(self._reader, self.probe, common.now_ms())

    def cautions(self) -> list[str]:
        """What to mind before it goes into a bath."""
        wet = about_humidity(self._reader, self.probe)
        return [*CAUTIONS, f"{TAKEN_OUT} (warmcoil place PROBE --out).", *([wet] if wet else [])]


def _steady(live: _Live) -> Steadiness:
    """Wait until it is steady, telling who sits there. Raises NotSo when that takes too long."""
    began_s = time.monotonic()
    said_s = -_SAY_EVERY_S
    told = at_a_terminal()
    while True:
        found = live.steadiness()
        past_s = time.monotonic() - began_s
        if found is not None and found.why_not is None:
            if told:
                typer.echo(steady_words(found))
            return found
        if past_s >= live.wait_s:
            raise NotSo(f"nothing was entered: after {live.wait_s / 60:.0f} min it is not steady. "
                        f"{steady_words(found)}")  # fmt: skip
        if told and past_s - said_s >= _SAY_EVERY_S:
            said_s = past_s
            typer.echo(steady_words(found))
        time.sleep(_LOOK_EVERY_S)


def _keep(it: Desk, record: Calibrated) -> None:
    it.book.put(record)
    it.say(f"probe {record.probe}: {outcome_words(record)}")
    typer.echo(
        "A running collector corrects by it within seconds; readings before keep their own "
        "correction. To take it back: warmcoil undo"
    )


def _second(it: Desk, live: _Live, true_c: float, sure_c: float, note: str | None) -> None:
    found = point(_steady(live), true_c, sure_c)
    now_ms = common.now_ms()
    first = first_point(it.book, live.probe, now_ms)
    if first is not None:
        _keep(it, with_second(first, found, now_ms, note))
    else:
        note = note or f"one point, reference ±{sure_c:g} °C (k = {K:g})"
        _keep(it, one_point(live.probe, found, now_ms, note))


def _guided(it: Desk, live: _Live, note: str | None) -> None:
    if not at_a_terminal():
        raise Unusable("nobody can be asked here; say which bath it is in: --ice, or --second-c")
    for line in (*live.cautions(), "First the ice point.", *ICE_STEPS):
        typer.echo(line)
    typer.prompt("Press Enter when the probe is in the ice", default="", show_default=False)
    first = ice_point(live.probe, _steady(live), common.now_ms(), note)
    _keep(it, first)
    if not typer.confirm("A second point in warm water?", default=True):
        return
    for line in SECOND_STEPS:
        typer.echo(line)
    typer.prompt("Press Enter when both are in the water", default="", show_default=False)
    _keep(it, _asked_for(_steady(live), first, note))


def _asked_for(steady: Steadiness, first: Calibrated, note: str | None) -> Calibrated:
    """The record with the second point; figures that cannot be are asked for again."""
    while True:
        true_c = typer.prompt("What does the reference say now, in °C?", type=float)
        sure_c = typer.prompt(
            "How sure is it, in °C (k = 2; see its papers)?", type=float, default=0.1
        )
        try:
            now_ms = common.now_ms()
            return second_point(first, steady, true_c, sure_c, now_ms=now_ms, note=note)
        except Unusable as fault:
            typer.echo(
                f"Not entered: {fault}. Once more, or Ctrl-C: the ice point stays.", err=True
            )
