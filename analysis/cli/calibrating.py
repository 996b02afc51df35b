"""`warmcoil calibrate`: one point or two, guided or from a script."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from analysis.calibrating import (
    ICE_C,
    ICE_UNCERTAINTY_C,
    K,
    Point,
    Steadiness,
    point,
    steadiness,
)
from analysis.calibration_words import (
    CAUTIONS,
    ICE_NOTE,
    ICE_STEPS,
    SECOND_STEPS,
    outcome_words,
    steady_words,
)
from analysis.cli import common
from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import Desk, NoteOption, at_a_terminal, desk
from analysis.placing import probe_named
from collector.book.records import Calibrated
from collector.readings import Flag, Quantity, SeriesKey
from collector.store.opening import open_reader
from config.errors import NotSo, Unusable
from config.settings import load_settings

_LOOK_EVERY_S = 2.0
_SAY_EVERY_S = 20.0
_BACK_MS = 600_000
_PAIR_WITHIN_MS = 86_400_000
"""A second point joins a first one that is no older than this."""


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
            "--reference-uncertainty", metavar="C", min=0.001, max=2,
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
            _keep(it, _record(live, _take(live, ICE_C, ICE_UNCERTAINTY_C), note or ICE_NOTE))
        elif second_c is not None and reference_uncertainty is not None:
            _second(it, live, second_c, reference_uncertainty, note)
        else:
            _guided(it, live, note)


class _Live:
    """What one probe reads now, uncorrected. Raises NotSo for one that was never heard."""

    def __init__(self, home: Path | None, probe: str, wait_min: float) -> None:
        self.probe = probe
        self.wait_s = wait_min * 60
        self._key = SeriesKey(probe, Quantity.TEMPERATURE)
        where = common.home_at(home)
        self._reader = open_reader(where, load_settings(where), patient=True)
        heard = sorted({key.probe for key in self._reader.series()})
        if probe not in heard:
            known = ", ".join(heard) or "none yet"
            raise NotSo(f"no probe {probe!r} was heard; there are: {known}")

    def steadiness(self) -> Steadiness | None:
        """How steady it is now. A jump into the bath is no fault; anything else is."""
        now_ms = common.now_ms()
        columns = self._reader.columns(self._key, now_ms - _BACK_MS, now_ms + 1)
        rows = zip(columns.at_ms, columns.raw, columns.flags, strict=True)
        good = [(at_ms, raw) for at_ms, raw, flags in rows if not Flag(flags) & ~Flag.JUMP]
        return steadiness(good, now_ms)


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


def _take(live: _Live, true_c: float, reference_uncertainty_c: float) -> Point:
    return point(_steady(live), true_c, reference_uncertainty_c)


def _record(live: _Live, found: Point, note: str | None) -> Calibrated:
    at_ms = common.now_ms() // 1000 * 1000
    return Calibrated(
        live.probe, at_ms, found.read_c, found.true_c, found.uncertainty_c, notes=note
    )


def _with_second(first: Calibrated, found: Point, note: str | None) -> Calibrated:
    return replace(
        first,
        at_ms=max(common.now_ms() // 1000 * 1000, first.at_ms + 1000),
        second_read_c=found.read_c,
        second_true_c=found.true_c,
        second_uncertainty_c=found.uncertainty_c,
        notes=note or first.notes,
    )


def _keep(it: Desk, record: Calibrated) -> None:
    it.book.put(record)
    it.say(f"probe {record.probe}: {outcome_words(record)}")
    typer.echo(
        "A running collector corrects by it within seconds; readings before keep their own "
        "correction. To take it back: warmcoil undo"
    )


def _second(it: Desk, live: _Live, true_c: float, sure_c: float, note: str | None) -> None:
    found = _take(live, true_c, sure_c)
    last = it.book.calibrations(live.probe)[-1:]
    now_ms = common.now_ms()
    if last and last[0].second_read_c is None and now_ms - last[0].at_ms <= _PAIR_WITHIN_MS:
        _keep(it, _with_second(last[0], found, note))
    else:
        _keep(it, _record(live, found, note or f"one point, reference ±{sure_c:g} °C (k = {K:g})"))


def _guided(it: Desk, live: _Live, note: str | None) -> None:
    if not at_a_terminal():
        raise Unusable("nobody can be asked here; say which bath it is in: --ice, or --second-c")
    for line in (*CAUTIONS, "First the ice point.", *ICE_STEPS):
        typer.echo(line)
    typer.prompt("Press Enter when the probe is in the ice", default="", show_default=False)
    first = _record(live, _take(live, ICE_C, ICE_UNCERTAINTY_C), note or ICE_NOTE)
    _keep(it, first)
    if not typer.confirm("A second point in warm water?", default=True):
        return
    for line in SECOND_STEPS:
        typer.echo(line)
    typer.prompt("Press Enter when both are in the water", default="", show_default=False)
    steady = _steady(live)
    true_c = typer.prompt("What does the reference say now, in °C?", type=float)
    sure_c = typer.prompt("How sure is it, in °C (k = 2; see its papers)?", type=float, default=0.1)
    if not 0 < sure_c <= 2:
        raise Unusable(f"{sure_c:g} °C cannot be; it is more than 0 and at most 2; the ice stays")
    _keep(it, _with_second(first, point(steady, true_c, sure_c), note))
