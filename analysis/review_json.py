"""A review as one JSON object: the field names and meanings other programs rely on.

Figures are unrounded, times RFC 3339 in UTC, unknown is null.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from analysis.vet import vet_text
from collector.rfc3339 import written

if TYPE_CHECKING:
    from analysis.review import Review


def review_json(one: Review) -> dict[str, object]:
    """The object of one meal."""
    return {
        "meal": one.meal,
        "animal": one.animal,
        "enclosure": one.enclosure,
        "taken_at": written(one.taken_at_ms),
        "window": {
            "start": written(one.window.start_ms),
            "end": written(one.window.end_ms),
            "hours": one.window.hours,
            "ended_by": one.window.ended_by,
        },
        "coverage": asdict(one.coverage),
        "warm_side": asdict(one.warm_side) if one.warm_side is not None else None,
        "cool_side": asdict(one.cool_side) if one.cool_side is not None else None,
        "humidity": asdict(one.humidity) if one.humidity is not None else None,
        "digestion": _digestion(one),
        "verdict": one.verdict,
        "possible": one.possible,
        "reasons": list(one.reasons),
        "outcome": one.outcome.value if one.outcome is not None else None,
        "outcome_at": _time(one.outcome_at_ms),
        "factors": [asdict(factor) for factor in one.factors],
        "vet": [vet_text(sign) for sign in one.vet],
    }


def _digestion(one: Review) -> dict[str, object]:
    figures = asdict(one.digestion)
    through_ms = figures.pop("through_at_warm_side_ms")
    swing = figures.pop("swing_factor")
    return {**figures, "through_at_warm_side": _time(through_ms), "swing_factor": swing}


def _time(at_ms: float | None) -> str | None:
    return written(round(at_ms)) if at_ms is not None else None
