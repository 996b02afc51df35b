"""The zones of an animal's enclosures day by day: lowest, mean, highest, and how much is known.

A week is looked at at a time, so that three years of many probes take no more memory than a week.
Days are the home's. None means that nothing is known, never zero.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import partial

import numpy as np

from analysis.exposure import NOTHING, Floats, Line
from analysis.figures.days import Day, local_days
from analysis.gathering import Facts
from analysis.tracks import Tracks
from analysis.words import HOUR_MS, local_day_of
from analysis.zone_hours import NO_HOURS, ZoneHours, zone_hours
from analysis.zones import zone_line
from collector.book.records import Placement, Zone
from collector.readings import Quantity
from config.settings import Settings

_DAYS_AT_ONCE = 7
_MINUTE_MS = 60_000.0
_LONGEST_KEPT = 5
GAP_WORTH_TELLING_H = 1.0
"""A shorter gap is counted in the hours that are not known, and not told by itself."""

LineOf = Callable[[int, int], Line | None]
HoursOf = Callable[[int, int], ZoneHours]


@dataclass(frozen=True, slots=True)
class DayFigures:
    """A day, or several: °C or %RH over known time. `below_h` are known hours below the floor."""

    start_ms: int
    end_ms: int
    known_h: float
    low: float | None = None
    mean: float | None = None
    high: float | None = None
    below_h: float = 0.0

    @property
    def hours(self) -> float:
        """Its length in h."""
        return (self.end_ms - self.start_ms) / HOUR_MS


@dataclass(frozen=True, slots=True)
class Gap:
    """Time of which nothing is known."""

    start_ms: float
    end_ms: float

    @property
    def hours(self) -> float:
        """Its length in h."""
        return (self.end_ms - self.start_ms) / HOUR_MS


@dataclass(frozen=True, slots=True)
class ZoneDays:
    """One zone over the period. `placed` is False where no probe ever lay there for the animal.

    `by_hour` counts the hours of thinned days: of those, time below the floor is counted only where
    the whole hour was below it.
    """

    name: str
    placed: bool
    days: tuple[DayFigures, ...] = ()
    gaps: int = 0
    """How many gaps of an hour or more there are."""
    longest: tuple[Gap, ...] = ()
    """The longest of them, the longest first."""
    by_hour: int = 0

    @property
    def known_h(self) -> float:
        """Known time in h."""
        return sum(day.known_h for day in self.days)

    @property
    def whole(self) -> DayFigures | None:
        """The figures of the whole period; None without a day."""
        return together(self.days) if self.days else None


WARM, COOL, HOT_SPOT, HIDE, ROOM, HUMIDITY = (
    "warm side", "cool side", "hot spot", "hide", "room", "humidity",
)  # fmt: skip
_SPOTS = {
    WARM: Zone.WARM_SIDE,
    COOL: Zone.COOL_SIDE,
    HOT_SPOT: Zone.HOT_SPOT,
    HIDE: Zone.HIDE,
}


def zones_by_day(
    animal: str,
    facts: Facts,
    tracks: Tracks,
    settings: Settings,
    *,
    floor_c: float,
    start_ms: int,
    end_ms: int,
) -> dict[str, ZoneDays]:
    """Every zone by name, over [start_ms, end_ms), along the animal's stays."""
    stays, temperature = facts.stays.get(animal, []), Quantity.TEMPERATURE
    line = partial(
        zone_line, stays=stays, tracks=tracks, gap_ms=settings.review.gap_minutes * _MINUTE_MS
    )
    thinned = partial(zone_hours, stays=stays, tracks=tracks)
    days = [
        Day(one.day, max(one.start_ms, start_ms), min(one.end_ms, end_ms))
        for one in local_days(start_ms, end_ms, settings.zone)
    ]

    def found(
        name: str,
        zones: Zone | Collection[Zone],
        quantity: Quantity = temperature,
        placements: Collection[Placement] = facts.placements,
    ) -> ZoneDays:
        return zone_days(
            name,
            lambda a, b: line(zones, quantity, a, b, placements=placements).line,
            days,
            floor_c if name == WARM else None,
            lambda a, b: thinned(zones, quantity, a, b, placements=placements),
        )

    inside = set(Zone) - {Zone.ROOM}
    return {
        **{name: found(name, zone) for name, zone in _SPOTS.items()},
        ROOM: found(ROOM, Zone.ROOM, placements=facts.rooms),
        HUMIDITY: found(HUMIDITY, inside, Quantity.HUMIDITY),
    }


def zone_days(
    name: str,
    line_of: LineOf,
    days: Sequence[Day],
    floor_c: float | None,
    hours_of: HoursOf = lambda _a, _b: NO_HOURS,
) -> ZoneDays:
    """One zone over days that follow each other. `line_of` gives its line, None without a probe;
    `hours_of` its thinned hours, those that the line knows among them."""
    found: list[DayFigures] = []
    gaps = _Gaps(days[0].start_ms if days else 0)
    placed, by_hour = False, 0
    for first in range(0, len(days), _DAYS_AT_ONCE):
        week = days[first : first + _DAYS_AT_ONCE]
        span = week[0].start_ms, week[-1].end_ms
        line = line_of(*span)
        placed = placed or line is not None
        whole, hours = line if line is not None else NOTHING, hours_of(*span).outside(line)
        by_hour += len(hours)
        gaps.look_at(whole, hours)
        found += [figures_of(whole, day.start_ms, day.end_ms, floor_c, hours) for day in week]
    if days:
        gaps.end(days[-1].end_ms)
    return ZoneDays(name, placed, tuple(found), gaps.count, tuple(gaps.longest), by_hour)


def figures_of(
    line: Line, start_ms: int, end_ms: int, floor_c: float | None, hours: ZoneHours = NO_HOURS
) -> DayFigures:
    """The figures of a line over [start_ms, end_ms), and of the hours that begin in it."""
    part, rest = line.cut(start_ms, end_ms), hours.known_within(start_ms, end_ms)
    if not len(part) and not len(rest):
        return DayFigures(start_ms, end_ms, 0.0)
    low = float(np.concatenate((part.low_c, rest.low)).min())
    high = float(np.concatenate((part.high_c, rest.high)).max())
    area = float((part.length_ms * (part.start_c + part.end_c)).sum()) / 2.0
    known_ms = part.known_ms + float(rest.known_ms.sum())
    below_h = 0.0
    if floor_c is not None:
        below_h = part.hours_below(floor_c) if len(part) else 0.0
        below_h += float(rest.known_ms[rest.high < floor_c].sum()) / HOUR_MS
    mean = (area + float((rest.mean * rest.known_ms).sum())) / known_ms
    return DayFigures(
        start_ms, end_ms, known_ms / HOUR_MS, low, min(max(mean, low), high), high, below_h
    )


def together(days: Sequence[DayFigures]) -> DayFigures:
    """Several days as one: the lowest, the highest, the mean by known time."""
    known = [one for one in days if one.mean is not None]
    span = days[0].start_ms, days[-1].end_ms
    if not known:
        return DayFigures(*span, 0.0)
    known_h = sum(one.known_h for one in known)
    return DayFigures(
        *span,
        known_h,
        min(one.low for one in known if one.low is not None),
        sum((one.mean or 0.0) * one.known_h for one in known) / known_h,
        max(one.high for one in known if one.high is not None),
        sum(one.below_h for one in known),
    )


def months_of(days: Iterable[DayFigures], settings: Settings) -> list[tuple[date, DayFigures]]:
    """The days of each local month together, with the first day of it that is looked at."""
    found: dict[tuple[int, int], list[DayFigures]] = {}
    for one in days:
        day = local_day_of(one.start_ms, settings.zone)
        found.setdefault((day.year, day.month), []).append(one)
    return [
        (local_day_of(some[0].start_ms, settings.zone), together(some)) for some in found.values()
    ]


@dataclass(slots=True)
class _Gaps:
    """The gaps of a line that comes in parts, each in time order."""

    known_until_ms: float
    count: int = 0
    longest: list[Gap] = field(default_factory=list)

    def look_at(self, line: Line, hours: ZoneHours) -> None:
        """The next part; a thinned hour is no gap."""
        starts = np.concatenate((line.start_ms, hours.start_ms))
        order = np.argsort(starts, kind="stable")
        ends = np.concatenate((line.end_ms, hours.start_ms + HOUR_MS))[order]
        if len(ends):
            until = np.maximum.accumulate(np.concatenate(([self.known_until_ms], ends)))
            for gap in self._worth_telling(starts[order], until[:-1]):
                self._keep(gap)
            self.known_until_ms = float(until[-1])

    def end(self, end_ms: int) -> None:
        """No more parts: what is missing at the end."""
        last = Gap(self.known_until_ms, float(end_ms))
        if last.hours >= GAP_WORTH_TELLING_H:
            self._keep(last)

    def _worth_telling(self, starts: Floats, before: Floats) -> Iterator[Gap]:
        for i in np.flatnonzero(starts - before >= GAP_WORTH_TELLING_H * HOUR_MS).tolist():
            yield Gap(float(before[i]), float(starts[i]))

    def _keep(self, gap: Gap) -> None:
        self.count += 1
        self.longest.append(gap)
        self.longest.sort(key=lambda one: (-one.hours, one.start_ms))
        del self.longest[_LONGEST_KEPT:]
