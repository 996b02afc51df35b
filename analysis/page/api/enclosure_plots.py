"""An enclosure over any span as the numbers of a plot, for the page's script and for programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from analysis.page.api.asking import Columns
from analysis.page.enclosure_told import enclosure_climate
from analysis.page.enclosures_now import must_be_enclosure
from analysis.page.looking import looking
from analysis.page.plot import Look, climate_json
from analysis.words import HOUR_MS
from config.errors import Unusable

router = APIRouter(prefix="/api", tags=["plots"])

_LONGEST_H = 24 * 400.0
_LATEST_MS = 253_402_300_799_000  # to the end of the year 9999

Hours = Annotated[
    float | None, Query(ge=0, le=_LONGEST_H, description="Hours since `begin`; a part of the plot.")
]


@router.get("/enclosure-plot")
def enclosure_plot(
    request: Request,
    *,
    enclosure: Annotated[str, Query(min_length=1, max_length=500)],
    begin: Annotated[int, Query(ge=0, le=_LATEST_MS, description="ms since 1970, UTC.")],
    hours: Annotated[float, Query(gt=0, le=_LONGEST_H, description="From `begin` on.")] = 48.0,
    start: Annotated[Hours, Query(alias="from")] = None,
    end: Annotated[Hours, Query(alias="to")] = None,
    columns: Columns = 800,
) -> dict[str, Any]:
    """Lines, limits, what lies beyond them, gaps, marks and the local calendar of an enclosure, in
    the keeper's unit, along hours since `begin`. Every column keeps its lowest and highest."""
    with looking(request) as home:
        must_be_enclosure(enclosure, home)
        start_ms = begin + round((start or 0.0) * HOUR_MS)
        end_ms = begin + round((hours if end is None else end) * HOUR_MS)
        if end_ms - start_ms < 1000:
            raise Unusable("from: is not before to")
        climate, damp = enclosure_climate(enclosure, home, start_ms, end_ms, columns)
        look = Look(start_ms, end_ms, columns)
        return climate_json(climate, damp, home.settings, look, begin)
