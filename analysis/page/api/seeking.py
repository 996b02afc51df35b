"""How far the search for the probe in a hand is, for the page's own script."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from analysis.page.looking import Looking, looking
from analysis.probes import probe_states
from analysis.seeking import Sought, seek
from analysis.warm_hand import LONGEST_MS
from config.errors import NotSo

router = APIRouter(prefix="/api", tags=["readings"])

_OVER_MS = LONGEST_MS + 60_000
Began = Annotated[
    int, Query(ge=0, le=253_402_300_799_000, description="When it began: UTC in ms since 1970.")
]


@router.get("/probes/find")
def find(request: Request, began: Began) -> dict[str, Any]:
    """The probe that is being warmed in a hand since `began`, or null: not sure yet. `over` says
    that asking again is of no use."""
    with looking(request) as home:
        return seek_here(home, began).as_json()


def seek_here(home: Looking, began_ms: int) -> Sought:
    """As of now. Raises NotSo for a search that is long over, or still to come."""
    if not 0 <= home.now_ms - began_ms <= _OVER_MS:
        raise NotSo("that search is over; begin again from the list of probes")
    states = probe_states(home.book, home.reader, home.settings, home.now_ms)
    return seek(home.reader, home.settings, {s.probe: s for s in states}, began_ms, home.now_ms)
