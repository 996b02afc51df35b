"""Alarms, for programs."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request

from analysis.page.looking import looking
from analysis.watch.alarm_json import alarm_json

router = APIRouter(prefix="/api", tags=["alarms"])


@router.get("/alarms")
def alarms(request: Request, *, everything: bool = False) -> list[dict[str, Any]]:
    """Alarms that stand or wait for an answer, the most urgent first; or all there ever were."""
    with looking(request) as home:
        found = home.alarms() if everything else home.open_alarms()
        return [alarm_json(one) for one in found]
