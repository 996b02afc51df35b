"""Local days on the time axis, over the changes of the clocks.

The moments of the changes are from the tz database (Python's zoneinfo), and by hand: Lisbon goes
from 01:00 WET to 02:00 WEST on 29 March 2026 at 01:00 UTC, and back on 25 October.
"""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.figures.days import clock_hours, local_days, midnights, named_days, nights

HOUR = 3_600_000
LISBON = ZoneInfo("Europe/Lisbon")


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def utc(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="minutes")[:16]


def test_the_night_on_which_the_clocks_go_forward_is_an_hour_shorter() -> None:
    found = nights(ms("2026-03-28T12:00+00:00"), ms("2026-03-29T12:00+01:00"), LISBON)
    assert [(utc(a), utc(b)) for a, b in found] == [("2026-03-28T20:00", "2026-03-29T07:00")]


def test_the_days_of_the_changes_have_23_and_25_hours() -> None:
    for day, hours in (("2026-03-29", 23), ("2026-10-25", 25), ("2026-10-26", 24)):
        noon = ms(f"{day}T12:00+00:00")
        (found,) = local_days(noon, noon + HOUR, LISBON)
        assert found.end_ms - found.start_ms == hours * HOUR
        assert found.day == date.fromisoformat(day)


def test_midnights_are_the_homes() -> None:
    found = midnights(ms("2026-03-28T00:00+00:00"), ms("2026-03-31T00:00+01:00"), LISBON)
    assert [utc(at) for at in found] == [
        "2026-03-28T00:00",
        "2026-03-29T00:00",
        "2026-03-29T23:00",
    ]


def test_clock_hours_go_by_the_clock() -> None:
    found = clock_hours(ms("2026-03-28T21:00+00:00"), ms("2026-03-29T09:00+00:00"), LISBON, 6)
    assert [utc(at) for at in found] == ["2026-03-29T00:00", "2026-03-29T05:00"]


def test_nights_are_cut_at_the_edges() -> None:
    found = nights(ms("2026-01-05T03:00+00:00"), ms("2026-01-05T22:00+00:00"), LISBON)
    assert [(utc(a), utc(b)) for a, b in found] == [
        ("2026-01-05T03:00", "2026-01-05T08:00"),
        ("2026-01-05T20:00", "2026-01-05T22:00"),
    ]


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "America/Sao_Paulo", "Asia/Kathmandu", "UTC",
                                  "Australia/Lord_Howe", "Africa/Cairo"])  # fmt: skip
@given(start=st.integers(1_500_000_000_000, 1_800_000_000_000), hours=st.integers(1, 400))
def test_days_tile_the_time(zone: str, start: int, hours: int) -> None:
    end = start + hours * HOUR
    days = local_days(start, end, ZoneInfo(zone))
    assert days[0].start_ms <= start < days[0].end_ms
    assert days[-1].start_ms < end <= days[-1].end_ms
    for before, after in itertools.pairwise(days):
        assert before.end_ms == after.start_ms
    dark = nights(start, end, ZoneInfo(zone))
    for a, b in dark:
        assert start <= a < b <= end
        assert b - a <= 13 * HOUR
    for before_night, after_night in itertools.pairwise(dark):
        assert after_night[0] - before_night[1] >= 11 * HOUR


def test_days_hardly_seen_are_not_named() -> None:
    start, end = ms("2026-03-03T21:39+00:00"), ms("2026-03-08T10:00+00:00")
    days = local_days(start, end, LISBON)
    assert [d.day.day for d in named_days(days, start, end, 1)] == [4, 5, 6, 7]
    assert [d.day.day for d in named_days(days, start, end, 3)] == [4, 7]
    short = start + 2 * HOUR
    assert [d.day.day for d in named_days(local_days(start, short, LISBON), start, short, 1)] == [3]


def test_no_time_has_no_days() -> None:
    assert local_days(5, 5, LISBON) == []
    assert nights(5, 5, LISBON) == []
    assert midnights(5, 5, LISBON) == []
