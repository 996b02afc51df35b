"""How steady a probe in a bath is, for the page's own script."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from analysis.calibration_taking import steady_now
from analysis.calibration_words import steady_words
from analysis.page.looking import looking
from collector.readings import Quantity, SeriesKey
from config.errors import NotSo

router = APIRouter(prefix="/api", tags=["readings"])


@router.get("/probes/steadiness")
def steadiness(
    request: Request, probe: Annotated[str, Query(min_length=1, max_length=500)]
) -> dict[str, Any]:
    """What a probe reads now by itself, uncorrected, over the last three minutes (°C): its mean,
    its drift along its line, its scatter about it; null where it was hardly heard. `steady` says
    that a point of a calibration may be taken, `words` why or why not."""
    with looking(request) as home:
        if SeriesKey(probe, Quantity.TEMPERATURE) not in home.reader.series():
            raise NotSo(f"no temperature of a probe {probe!r} was heard")
        found = steady_now(home.reader, probe, home.now_ms)
        return {
            "probe": probe,
            "steady": found is not None and found.why_not is None,
            "words": steady_words(found),
            "mean_c": None if found is None else found.mean_c,
            "drift_c": None if found is None else found.drift_c,
            "scatter_c": None if found is None else found.scatter_c,
            "readings": 0 if found is None else found.readings,
        }
