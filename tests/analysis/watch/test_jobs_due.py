"""When jobs are due: by hand on both nights the clocks change, and as laws over all clocks."""

from __future__ import annotations

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch.jobs_due import (
    Daily,
    JobSchedule,
    Weekly,
    believable,
    due,
    newest_moment,
    next_moment,
)

LISBON = ZoneInfo("Europe/Lisbon")
DAY_MS = 86_400_000
NIGHT = Daily(time(3, 30))


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp()) * 1000


# In 2026 the European Union's clocks go forward on 29 March and back on 25 October, both at 01:00
# UTC (directive 2000/84/EC: last Sundays; the dates computed from the calendar).
@pytest.mark.parametrize(
    ("at", "now", "expected"),
    [
        (time(1, 30), "2026-03-29T00:59:00Z", "2026-03-28T01:30:00Z"),
        (time(1, 30), "2026-03-29T01:31:00Z", "2026-03-29T01:30:00Z"),  # skipped: 02:30 summer
        (time(3, 30), "2026-03-29T02:29:00Z", "2026-03-28T03:30:00Z"),
        (time(3, 30), "2026-03-29T02:30:00Z", "2026-03-29T02:30:00Z"),
        (time(1, 30), "2026-10-25T00:30:00Z", "2026-10-25T00:30:00Z"),  # the first of the two
        (time(1, 30), "2026-10-25T01:45:00Z", "2026-10-25T00:30:00Z"),  # not again
        (time(3, 30), "2026-10-25T03:29:00Z", "2026-10-24T02:30:00Z"),
        (time(3, 30), "2026-10-25T03:30:00Z", "2026-10-25T03:30:00Z"),
    ],
)
def test_nights_on_which_the_clocks_change(at: time, now: str, expected: str) -> None:
    assert newest_moment(Daily(at), ms(now), LISBON) == ms(expected)


def test_missed_runs_are_one() -> None:
    last = ms("2026-11-01T03:30:00Z")
    assert due(NIGHT, last, ms("2026-11-20T12:00:00Z"), LISBON) == ms("2026-11-20T03:30:00Z")


def test_once_a_week() -> None:
    sunday = Weekly(6, time(18, 0))
    monday_noon = ms("2026-11-23T12:00:00Z")  # 22 November 2026 is a Sunday
    assert due(sunday, None, monday_noon, LISBON) == ms("2026-11-22T18:00:00Z")
    assert next_moment(sunday, monday_noon, LISBON) == ms("2026-11-29T18:00:00Z")


def test_a_clock_put_back_over_the_moment_runs_nothing_again() -> None:
    done = ms("2026-11-20T03:30:00Z")
    earlier = ms("2026-11-20T03:10:00Z")
    assert due(NIGHT, done, earlier, LISBON) is None
    assert believable(NIGHT, done, earlier, LISBON)
    assert due(NIGHT, done, ms("2026-11-20T03:40:00Z"), LISBON) is None
    assert due(NIGHT, done, ms("2026-11-21T03:40:00Z"), LISBON) is not None


def test_what_a_clock_years_ahead_did_is_not_believed() -> None:
    assert not believable(NIGHT, ms("2031-01-01T03:30:00Z"), ms("2026-11-20T12:00:00Z"), LISBON)


ZONES = st.sampled_from(
    ["UTC", "Europe/Lisbon", "America/Sao_Paulo", "Australia/Lord_Howe", "Pacific/Apia"]
).map(ZoneInfo)
SCHEDULES: st.SearchStrategy[JobSchedule] = st.one_of(
    st.times().map(lambda t: Daily(t.replace(second=0, microsecond=0))),
    st.builds(
        Weekly, st.integers(0, 6), st.times().map(lambda t: t.replace(second=0, microsecond=0))
    ),
)
MOMENTS = st.datetimes(datetime(2009, 1, 1), datetime(2040, 1, 1)).map(  # noqa: DTZ001  # as UTC
    lambda d: round(d.replace(tzinfo=UTC).timestamp()) * 1000
)


@given(SCHEDULES, MOMENTS, ZONES)
def test_a_moment_is_past_and_no_more_than_a_period_ago(
    schedule: JobSchedule, now_ms: int, zone: ZoneInfo
) -> None:
    newest_ms, next_ms = newest_moment(schedule, now_ms, zone), next_moment(schedule, now_ms, zone)
    days = 7 if isinstance(schedule, Weekly) else 1
    assert newest_ms <= now_ms < next_ms
    # A night may be as much longer as its clock is put back; Apia had no 30 December 2011.
    assert next_ms - newest_ms <= (days + 1) * DAY_MS
    assert due(schedule, newest_ms, now_ms, zone) is None
    assert due(schedule, newest_ms - 1, now_ms, zone) == newest_ms


@given(SCHEDULES, MOMENTS, ZONES, st.lists(st.integers(60_000, 3 * DAY_MS), max_size=40))
def test_however_it_is_asked_each_moment_comes_once_and_in_order(
    schedule: JobSchedule, now_ms: int, zone: ZoneInfo, pauses: list[int]
) -> None:
    last_ms, runs = newest_moment(schedule, now_ms, zone), []
    for pause_ms in pauses:
        now_ms += pause_ms
        due_ms = due(schedule, last_ms, now_ms, zone)
        if due_ms is not None:
            runs.append(due_ms)
            last_ms = due_ms
    assert runs == sorted(set(runs))
    assert last_ms == newest_moment(schedule, now_ms, zone)
