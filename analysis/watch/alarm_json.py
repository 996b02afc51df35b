"""An alarm as a JSON object: field names and meanings that other programs rely on."""

from __future__ import annotations

from typing import Any

from analysis.watch.names import code_of
from analysis.watch.states import Alarm
from collector.rfc3339 import written


def alarm_json(alarm: Alarm) -> dict[str, Any]:
    """Times RFC 3339 in UTC, values in °C or %RH, unknown is null."""
    under = alarm.under
    return {
        "code": code_of(alarm.key),
        "alarm": alarm.key.kind,
        "enclosure": alarm.key.enclosure or None,
        "probe": alarm.key.probe,
        "state": alarm.shown_state,
        "priority": alarm.priority.name.lower(),
        "since": _time(alarm.since_ms),
        "raised": _time(alarm.raised_ms),
        "shelved_until": _time(alarm.shelved_until_ms),
        "setpoint": alarm.setpoint,
        "value": alarm.value,
        "furthest": alarm.lowest,
        "under": code_of(under) if under is not None else None,
    }


def _time(at_ms: int | None) -> str | None:
    return written(at_ms) if at_ms is not None else None
