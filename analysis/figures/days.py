"""Local days along a time axis: midnights, nights and which days get a name. Pure.

A local day has 23 or 25 h when the clocks change; everything here goes by the calendar of the
home's time zone and never by adding 24 h.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from analysis.words import local_day_of

DAY_MS = 86_400_000
NIGHT_FROM_HOUR = 20
NIGHT_TO_HOUR = 8
"""Night is 20:00 to 08:00 by the clock: when nobody looks at the thermometer. It needs no place
and no height of the sun, and is the same in every season."""


@dataclass(frozen=True, slots=True)
class Day:
    """One local day, [start_ms, end_ms)."""

    day: date
    start_ms: int
    end_ms: int


def local_days(start_ms: int, end_ms: int, zone: tzinfo) -> list[Day]:
    """The local days that touch [start_ms, end_ms), whole."""
    if end_ms <= start_ms:
        return []
    first, last = local_day_of(start_ms, zone), local_day_of(end_ms - 1, zone)
    return [
        Day(day, _at(day, 0, zone), _at(day + timedelta(days=1), 0, zone))
        for day in (first + timedelta(days=n) for n in range((last - first).days + 1))
    ]


def midnights(start_ms: int, end_ms: int, zone: tzinfo) -> list[int]:
    """The local midnights within [start_ms, end_ms)."""
    days = local_days(start_ms, end_ms, zone)
    return [day.start_ms for day in days if start_ms <= day.start_ms < end_ms]


def nights(start_ms: int, end_ms: int, zone: tzinfo) -> list[tuple[int, int]]:
    """The nights within [start_ms, end_ms), cut at its edges."""
    found = []
    for night in _nights_around(start_ms, end_ms, zone):
        start, end = max(night[0], start_ms), min(night[1], end_ms)
        if start < end:
            found.append((start, end))
    return found


def _nights_around(start_ms: int, end_ms: int, zone: tzinfo) -> Iterator[tuple[int, int]]:
    days = local_days(start_ms, end_ms, zone)
    evenings = [days[0].day - timedelta(days=1), *(d.day for d in days)] if days else []
    for day in evenings:
        yield _at(day, NIGHT_FROM_HOUR, zone), _at(day + timedelta(days=1), NIGHT_TO_HOUR, zone)


def too_many_to_tell(start_ms: int, end_ms: int) -> bool:
    """True for a span in which single nights and midnights would only be a grey."""
    return end_ms - start_ms > 45 * DAY_MS


def clock_hours(start_ms: int, end_ms: int, zone: tzinfo, every: int) -> list[int]:
    """The moments within [start_ms, end_ms) at which the clock shows a multiple of `every` h."""
    found = {
        at
        for day in local_days(start_ms, end_ms, zone)
        for hour in range(0, 24, every)
        if start_ms <= (at := _at(day.day, hour, zone)) < end_ms
    }
    return sorted(found)


def named_days(days: Sequence[Day], start_ms: int, end_ms: int, every: int) -> list[Day]:
    """The days to name: every one, every second … as there is room for.

    A day of which less than half is seen is not named, unless nothing else is.
    """
    seen = [
        day
        for day in days
        if min(day.end_ms, end_ms) - max(day.start_ms, start_ms)
        >= (day.end_ms - day.start_ms) * 0.5
    ]
    return seen[:: max(1, every)] if seen else list(days[:1])


def _at(day: date, hour: int, zone: tzinfo) -> int:
    moment = datetime(day.year, day.month, day.day, hour, tzinfo=zone)
    return round(moment.timestamp() * 1000)
