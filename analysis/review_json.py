"""A review as one JSON object: the field names and meanings other programs rely on.

Figures are unrounded, times RFC 3339 in UTC, unknown is null.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

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
        "coverage": _plain(one.coverage),
        "warm_side": _plain(one.warm_side),
        "cool_side": _plain(one.cool_side),
        "humidity": _plain(one.humidity),
        "digestion": _digestion(one),
        "verdict": one.verdict,
        "possible": one.possible,
        "reasons": list(one.reasons),
        "outcome": one.outcome.value if one.outcome is not None else None,
        "outcome_at": _time(one.outcome_at_ms),
        "factors": _plain(one.factors),
        "vet": [vet_text(sign) for sign in one.vet],
    }


def _digestion(one: Review) -> dict[str, object]:
    figures: dict[str, Any] = _plain(one.digestion)
    through_ms = figures.pop("through_at_warm_side_ms")
    swing = figures.pop("swing_factor")
    return {**figures, "through_at_warm_side": _time(through_ms), "swing_factor": swing}


def _plain(value: Any) -> Any:
    """Records as objects, all the way down. Without the copies that `dataclasses.asdict` makes of
    every number: a third of the time of reviewing many meals went there.
    """
    kind: type = type(value)
    if kind is tuple:
        return [_plain(one) for one in value]
    names = _names(kind)
    if names is None:
        return value
    return {name: _plain(getattr(value, name)) for name in names}


@cache
def _names(kind: type) -> tuple[str, ...] | None:
    """The names of a record's fields; None where it is no record."""
    return tuple(field.name for field in fields(kind)) if is_dataclass(kind) else None


def _time(at_ms: float | None) -> str | None:
    return written(round(at_ms)) if at_ms is not None else None
