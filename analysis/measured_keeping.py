"""The factors of keeping: how soon after the meal before, handled when, in shed or not."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analysis.ages import intervals
from analysis.gathering import Gathered
from analysis.in_shed import in_shed
from analysis.measure import Measured, basis_text
from analysis.window import DAY_MS, HOUR_MS, came_back_ms
from analysis.words import local_day_of
from collector.book.records import ShedStage
from config.care import CareProfile, Span

SINCE = "days since the meal before"
SINCE_BACK = "days since the meal before came back"
SHED = "shed near"


def interval_factors(gathered: Gathered, care: CareProfile) -> Iterator[Measured]:
    """Days since the meal before was taken; and since it came back, where it did.

    The rules count the home's calendar days, as the next meal's do: from a Monday evening to the
    Monday noon after are seven.
    """
    before, start_ms = gathered.meal_before, gathered.window.start_ms
    taken_ms = before.taken_at_ms if before is not None else None
    days = (start_ms - taken_ms) / DAY_MS if taken_ms is not None else None
    counted = _calendar_days(taken_ms, gathered)
    rule = _interval(counted, gathered.age_months, care)
    yield Measured(
        SINCE,
        days,
        basis_text(rule) + (", age not known" if gathered.age_months is None else ""),
        limit=rule.low,
        breaks=_too_soon(counted, gathered.age_months, care),
        rank_by=days,
        worse="less",
    )
    if before is None or before.outcome is None or not before.outcome.came_back:
        return
    back_ms, rest = came_back_ms(before), care.feeding.rest_after_regurgitation_days
    rested = (start_ms - back_ms) / DAY_MS if back_ms is not None else None
    counted = _calendar_days(back_ms, gathered)
    yield Measured(
        SINCE_BACK,
        rested,
        basis_text(rest),
        limit=rest.value,
        breaks=counted < rest.value if counted is not None else None,
    )


def _calendar_days(before_ms: int | None, gathered: Gathered) -> int | None:
    if before_ms is None:
        return None
    day, before = (local_day_of(at, gathered.zone) for at in (gathered.window.start_ms, before_ms))
    return (day - before).days


def _interval(days: float | None, age_months: int | None, care: CareProfile) -> Span:
    """The interval for an age; for an unknown one the shortest if that is broken, else the longest.

    Shorter than the shortest breaks the rule at any age, and as long as the longest keeps it.
    """
    spans = sorted(intervals(age_months, care), key=lambda span: span.low)
    return spans[0] if days is not None and days < spans[0].low else spans[-1]


def _too_soon(days: float | None, age_months: int | None, care: CareProfile) -> bool | None:
    if days is None:
        return None
    rule = _interval(days, age_months, care)
    if days >= rule.low:
        return False
    shortest = min(one.days.low for one in care.feeding.intervals)
    return True if age_months is not None or days < shortest else None


def handling_factor(gathered: Gathered, care: CareProfile) -> Measured:
    """Hours from the meal to the first handling in its window; none in the book keeps the rule."""
    rule, start_ms = care.feeding.no_handling_hours, gathered.window.start_ms
    first = min((one.at_ms for one in gathered.handlings), default=None)
    hours = max(0.0, (first - start_ms) / HOUR_MS) if first is not None else None
    return Measured(
        handling_name(care),
        hours,
        basis_text(rule),
        limit=rule.value,
        breaks=hours is not None and hours < rule.value,
        rank_by=hours if hours is not None else math.inf,
        worse="less",
    )


def handling_name(care: CareProfile) -> str:
    """What the factor of handling is called: its hours are the profile's."""
    return f"handled within {care.feeding.no_handling_hours.value:g} h"


def shed_factor(gathered: Gathered, care: CareProfile) -> Measured:
    """Days from the meal to the old skin, where it was found soon; 0 when it was in shed already.

    A book without any shed of the animal says nothing. None near keeps the rule once the days
    after the meal are over, for a skin may still be found in them.
    """
    rule, start_ms = care.feeding.shed_within_days, gathered.window.start_ms
    sign, kept = shed_sign(gathered, care), bool(gathered.sheds)
    over = kept and gathered.now_ms >= start_ms + rule.value * DAY_MS
    days = max(0.0, (sign - start_ms) / DAY_MS) if sign is not None else None
    return Measured(
        SHED,
        days,
        basis_text(rule),
        limit=rule.value,
        breaks=True if days is not None else False if over else None,
        rank_by=days if days is not None else math.inf if over else None,
        worse="less",
    )


def shed_sign(gathered: Gathered, care: CareProfile) -> int | None:
    """When it was seen that the animal was in shed: noted before the meal, not too long, the skin
    not yet off by then; or the old skin found soon after it. In UTC ms."""
    start_ms = gathered.window.start_ms
    latest_ms = start_ms + care.feeding.shed_within_days.value * DAY_MS
    at_meal = in_shed(gathered.sheds, care, start_ms)
    if at_meal is not None and not at_meal.ask:
        return at_meal.since_ms
    found = (one.at_ms for one in gathered.sheds if one.stage is ShedStage.SHED)
    return min((at_ms for at_ms in found if start_ms < at_ms <= latest_ms), default=None)
