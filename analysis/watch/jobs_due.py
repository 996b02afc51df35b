"""When a job is due: pure. Times of day are the home's, also on the nights the clocks change.

A time of day that a night skips is taken an hour later by the clock on the wall, one that comes
twice at its first coming: so every day has each moment once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from analysis.words import local_day_of

_DAY = timedelta(days=1)
_MOST_DAYS = 9


@dataclass(frozen=True, slots=True)
class Daily:
    """Once a day, at a time of day at home."""

    at: time


@dataclass(frozen=True, slots=True)
class Weekly:
    """Once a week; Monday is 0."""

    weekday: int
    at: time


JobSchedule = Daily | Weekly


def due(
    job_schedule: JobSchedule, last_due_ms: int | None, now_ms: int, zone: tzinfo
) -> int | None:
    """The moment (UTC ms) for which the job should be done now, or None.

    `last_due_ms` is the moment it was last done for. Of several that were missed the newest alone
    is due. A moment still to come (the clock was put back) has been done, and is not done again.
    """
    newest_ms = newest_moment(job_schedule, now_ms, zone)
    return newest_ms if last_due_ms is None or last_due_ms < newest_ms else None


def believable(job_schedule: JobSchedule, last_due_ms: int, now_ms: int, zone: tzinfo) -> bool:
    """False when a job says it was done for a moment beyond its next one: by a clock gone wrong."""
    return last_due_ms <= next_moment(job_schedule, now_ms, zone)


def newest_moment(job_schedule: JobSchedule, now_ms: int, zone: tzinfo) -> int:
    """The schedule's newest moment at or before `now_ms`, UTC ms."""
    today = local_day_of(now_ms, zone)
    for days in range(1, -_MOST_DAYS, -1):
        at_ms = _moment(job_schedule, today + days * _DAY, zone)
        if at_ms is not None and at_ms <= now_ms:
            return at_ms
    raise AssertionError("a week without a weekday")


def next_moment(job_schedule: JobSchedule, now_ms: int, zone: tzinfo) -> int:
    """The schedule's next moment after `now_ms`, UTC ms."""
    today = local_day_of(now_ms, zone)
    for days in range(-1, _MOST_DAYS):
        at_ms = _moment(job_schedule, today + days * _DAY, zone)
        if at_ms is not None and at_ms > now_ms:
            return at_ms
    raise AssertionError("a week without a weekday")


def _moment(job_schedule: JobSchedule, day: date, zone: tzinfo) -> int | None:
    if isinstance(job_schedule, Weekly) and day.weekday() != job_schedule.weekday:
        return None
    # fold=0 (PEP 495): the first of two like times; of a skipped one, as far after the change.
    return round(datetime.combine(day, job_schedule.at, zone).timestamp()) * 1000
