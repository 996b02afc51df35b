"""The reviews as a flat table: one row a meal, the figures of `review --json` in °C, h and %RH."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from analysis.review import Review
from collector.rfc3339 import written

_HEAD = (
    "meal", "animal", "enclosure", "taken_at", "outcome", "outcome_at", "verdict", "possible",
    "window_hours", "known_hours", "longest_gap_hours",
)  # fmt: skip
_SIDES = ("warm_side", "cool_side")
_TAIL = (
    "humidity_min_pct", "humidity_mean_pct", "humidity_max_pct",
    "model_days_at_30c", "progress_warm_side", "progress_cool_side", "reasons",
)  # fmt: skip


def review_rows(reviews: Sequence[Review], zone: tzinfo) -> Iterator[list[str]]:
    """Its header and its rows; a field that is not known is empty."""
    levels = next(
        (tuple(b.below_c for b in one.warm_side.below) for one in reviews if one.warm_side), ()
    )
    sides = [f"{side}_{what}_c" for side in _SIDES for what in ("min", "mean", "median", "max")]
    below = [f"below_{c:g}c_{what}" for c in levels for what in ("hours", "degree_hours")]
    yield [*_HEAD, *sides, *below, *_TAIL]
    for one in reviews:
        yield [_text(value) for value in _values(one, zone, len(levels))]


def _values(one: Review, zone: tzinfo, levels: int) -> Iterator[object]:
    yield from (one.meal, one.animal, one.enclosure, written(one.taken_at_ms, zone))
    yield one.outcome
    yield written(one.outcome_at_ms, zone) if one.outcome_at_ms is not None else None
    yield from (one.verdict, one.possible, one.window.hours)
    yield from (one.coverage.known_hours, one.coverage.longest_gap_hours)
    for side in (one.warm_side, one.cool_side):
        if side is None:
            yield from [None] * 4
        else:
            yield from (side.min_c, side.mean_c, side.median_c, side.max_c)
    if one.warm_side is None:
        yield from [None] * (2 * levels)
    else:
        for level in one.warm_side.below:
            yield from (level.hours, level.degree_hours)
    damp, found = one.humidity, one.digestion
    yield from (damp.min_pct, damp.mean_pct, damp.max_pct) if damp is not None else [None] * 3
    yield from (found.model_days_at_30c, found.progress_warm_side, found.progress_cool_side)
    yield "; ".join(one.reasons)


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.4f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
