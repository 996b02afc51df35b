"""Probes and their readings, for programs and for the page's own plots."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from analysis.page.api.asking import Columns, Moment, moment_ms
from analysis.page.looking import looking
from analysis.page.series import probe_hours, probe_series
from analysis.probes import probe_states
from collector.readings import Quantity, SeriesKey
from collector.rfc3339 import written
from collector.store.columns import DAY_MS
from config.errors import NotSo, Unusable

router = APIRouter(prefix="/api", tags=["readings"])

_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.HUMIDITY: "%RH", Quantity.VOLTAGE: "V"}
_MINUTE_MS = 60_000.0


@router.get("/probes")
def probes(request: Request) -> list[dict[str, Any]]:
    """Every probe: its place, its last readings, flagged or not, and how old they are."""
    with looking(request) as home:
        states = probe_states(home.book, home.reader, home.settings, home.now_ms)
    return [state.as_json() for state in states]


@router.get("/readings")
def readings(
    request: Request,
    *,
    probe: Annotated[str, Query(min_length=1, max_length=500)],
    quantity: Quantity = Quantity.TEMPERATURE,
    begin: Annotated[Moment, Query(alias="from")] = None,
    end: Annotated[Moment, Query(alias="to")] = None,
    columns: Columns = 800,
) -> dict[str, Any]:
    """The usable readings of one probe, reduced to what a picture so wide shows; the last day by
    default. Stretches are lists of [ms since 1970, value]; between two of them nothing is known,
    but for days kept by the hour: `by_hour` has [ms, lowest, mean, highest] of an hour or more."""
    with looking(request) as home:
        key = SeriesKey(probe, quantity)
        if key not in home.reader.series():
            raise NotSo(f"no {quantity} of a probe {probe!r}; see /api/probes")
        end_ms = moment_ms(end, "to") or home.now_ms
        start_ms = moment_ms(begin, "from")
        start_ms = start_ms if start_ms is not None else max(0, end_ms - DAY_MS)
        if start_ms >= end_ms:
            raise Unusable("from: is not before to")
        gap_ms = home.settings.review.gap_minutes * _MINUTE_MS
        found = probe_series(home.reader, key, start_ms, end_ms, columns=columns, gap_ms=gap_ms)
        by_hour = probe_hours(home.reader, key, start_ms, end_ms, columns=columns)
    return {
        "probe": probe,
        "quantity": quantity,
        "unit": _UNITS[quantity],
        "from": written(start_ms),
        "to": written(end_ms),
        "stretches": [
            [
                [round(at), value]
                for at, value in zip(p.at_ms.tolist(), p.value.tolist(), strict=True)
            ]
            for p in found
        ],
        "by_hour": by_hour,
    }
