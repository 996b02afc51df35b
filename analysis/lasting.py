"""What an InfluxDB's first bucket will let go of one day is copied into the lasting one before.

The hours of every day that is over, and the raw readings that stay for ever: those around meals
(`kept_raw`), and the newest day of each series. A day is done when the lasting bucket has as many
readings of it as the first; what comes late is so seen the next night, and a kill costs nothing.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass

from analysis.kept_raw import KeptRaw
from collector.readings import SeriesKey
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import count_of, hours_of
from collector.store.influx_lasting import LastingArchive, day_counts

_DAYS_AT_ONCE = 16
_OPEN_DAYS = 2
"""Today, and yesterday: a journal may be sealed once a day only."""


@dataclass(slots=True)
class Lasting:
    """What was copied, or would be: probe-days by the hour, and probe-days raw for ever."""

    hours: int = 0
    raw: int = 0


def keep_lasting(
    archive: LastingArchive,
    kept: KeptRaw,
    gap_ms: float,
    now_ms: int,
    *,
    only_count: bool = False,
    stopping: Callable[[], bool] = lambda: False,
) -> Lasting:
    """Copy what is not there yet, until `stopping` says so. Raises ArchiveDown, StoreFault."""
    done, end = Lasting(), now_ms // DAY_MS - _OPEN_DAYS + 1
    for key in sorted(archive.series(), key=lambda key: (key.probe, key.quantity)):
        counts = day_counts(archive, key)
        days = sorted(day for day in counts if day < end)
        if not days:
            continue
        there, newest = day_counts(archive.lasting, key), max(counts)
        by_hour = _by_hour(archive, key, days[0], days[-1])
        hours_due = [day for day in days if by_hour.get(day, 0) < counts[day]]
        raw_due = [
            day
            for day in days
            if there[day] < counts[day] and (day == newest or kept.keeps(key.probe, day))
        ]
        for some in _some_at_once(sorted({*hours_due, *raw_due})):
            if stopping():
                return done
            if not only_count:
                _copy(archive, key, some, set(hours_due), set(raw_due), gap_ms)
            done.hours += len({*some}.intersection(hours_due))
            done.raw += len({*some}.intersection(raw_due))
    return done


def _some_at_once(days: list[int]) -> Iterator[list[int]]:
    """Days that lie near each other: read with one question."""
    while days:
        end = bisect_left(days, days[0] + _DAYS_AT_ONCE)
        yield days[:end]
        days = days[end:]


def _copy(  # noqa: PLR0917  # what keep_lasting found of one series
    archive: LastingArchive,
    key: SeriesKey,
    days: list[int],
    hours_due: Container[int],
    raw_due: Container[int],
    gap_ms: float,
) -> None:
    whole = archive.columns(key, days[0] * DAY_MS, (days[-1] + 1) * DAY_MS)
    parts = {day: part for day, part in whole.days() if day in days}
    archive.keep(key, Columns.joined(part for day, part in parts.items() if day in raw_due))
    by_day = (hours_of(part, gap_ms) for day, part in parts.items() if day in hours_due)
    archive.write_hours(key, [hour for hours in by_day for hour in hours])


def _by_hour(archive: LastingArchive, key: SeriesKey, first: int, last: int) -> dict[int, int]:
    """How many readings the hours of each day have."""
    found: dict[int, int] = {}
    for hour in archive.hours(key, first * DAY_MS, (last + 1) * DAY_MS):
        day = hour.start_ms // DAY_MS
        found[day] = found.get(day, 0) + count_of([hour])
    return found
