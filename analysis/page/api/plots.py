"""The post-meal plot's numbers, for the page's own script and for programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from analysis.gathering import Facts, gather, gathered_from
from analysis.page.api.asking import Columns, MealNumber, must_be_taken
from analysis.page.looking import Looking, looking
from analysis.page.plot import Look, earlier_json, plot_json, whole
from analysis.review import review
from analysis.tracks import Tracks
from analysis.window import taken_at_ms
from analysis.words import HOUR_MS
from collector.book.records import Meal
from config.errors import Unusable

router = APIRouter(prefix="/api", tags=["plots"])

_FURTHEST_H = 24 * 400.0
_EARLIER_MEALS = 12
"""As many are offered to be laid under."""

Hours = Annotated[
    float | None, Query(ge=-_FURTHEST_H, le=_FURTHEST_H, description="Hours since the meal.")
]


@router.get("/meals/{meal}/plot")
def plot(
    request: Request,
    *,
    meal: MealNumber,
    begin: Annotated[Hours, Query(alias="from")] = None,
    end: Annotated[Hours, Query(alias="to")] = None,
    columns: Columns = 800,
) -> dict[str, Any]:
    """Lines, limits, what lies beyond them, gaps, marks and the local calendar of a meal's window,
    or of a part of it, in the keeper's unit, along hours since the meal."""
    with looking(request) as home:
        record = home.book.meal(meal)
        taken_ms = must_be_taken(taken_at_ms(record), meal)
        gathered = gather(record, home.book, home.reader, home.care, home.settings, home.now_ms)
        look = whole(gathered, home.care, columns)
        start_ms = look.start_ms if begin is None else taken_ms + round(begin * HOUR_MS)
        end_ms = look.end_ms if end is None else taken_ms + round(end * HOUR_MS)
        if end_ms - start_ms < 1000:
            raise Unusable("from: is not before to")
        return plot_json(gathered, home.care, home.settings, Look(start_ms, end_ms, columns))


@router.get("/meals/{meal}/earlier")
def earlier(request: Request, meal: MealNumber, columns: Columns = 400) -> list[dict[str, Any]]:
    """The warm side after the same animal's last twelve meals before this one, the newest first,
    along hours since each meal."""
    with looking(request) as home:
        record = home.book.meal(meal)
        taken_ms = must_be_taken(taken_at_ms(record), meal)
        facts, tracks = Facts.of(home.book, record.animal), Tracks(home.reader)
        before = [
            one
            for one in facts.meals.get(record.animal, [])
            if one.taken_at_ms is not None and one.taken_at_ms < taken_ms
        ]
        return [
            _earlier(one, facts, tracks, home, columns)
            for one in before[: -_EARLIER_MEALS - 1 : -1]
        ]


def _earlier(
    meal: Meal, facts: Facts, tracks: Tracks, home: Looking, columns: int
) -> dict[str, Any]:
    gathered = gathered_from(
        meal, facts, tracks,
        care=home.care, settings=home.settings, now_ms=home.now_ms, with_room=False,
    )  # fmt: skip
    about_d = review(gathered, home.care, home.settings).digestion.model_days_at_30c
    return earlier_json(gathered, about_d, home.settings, columns)
