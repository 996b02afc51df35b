"""Moments as a keeper writes them; clock changes from the IANA time zone database (tzdata)."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.moments import Moment, day_start_ms, looks_like_time, moment, written
from config.errors import Unusable

LISBON = ZoneInfo("Europe/Lisbon")
NOW = round(datetime(2026, 7, 15, 20, 31, 7, tzinfo=LISBON).timestamp() * 1000)
ZONES = [ZoneInfo(z) for z in ("Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "UTC")]


def local(text: str, zone: ZoneInfo = LISBON, fold: int = 0) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold).timestamp() * 1000)


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("now", "2026-07-15 20:31:07"),
        ("20:30", "2026-07-15 20:30"),
        ("20:40", "2026-07-15 20:40"),  # within ten minutes: another clock is a little fast
        ("8:05", "2026-07-15 08:05"),
        ("8pm", "2026-07-15 20:00"),
        ("8:30 PM", "2026-07-15 20:30"),
        ("12am", "2026-07-15 00:00"),
        ("12:30pm", "2026-07-15 12:30"),
        ("20:30:15", "2026-07-15 20:30:15"),
        ("today 7:00", "2026-07-15 07:00"),
        ("yesterday 20:30", "2026-07-14 20:30"),
        ("Yesterday  9pm", "2026-07-14 21:00"),
        ("2026-03-01 20:30", "2026-03-01 20:30"),
        ("2026-03-01T20:30", "2026-03-01 20:30"),
        ("2026-03-01T20:30:00Z", "2026-03-01 20:30"),
        ("2026-03-01T20:30:00+05:30", "2026-03-01 15:00"),
    ],
)
def test_ways_to_write_a_time(text: str, means: str) -> None:
    found = moment(text, LISBON, NOW, "--when")
    assert (found.at_ms, found.said) == (local(means), None)
    assert looks_like_time(text)


def test_a_time_still_to_come_is_yesterdays() -> None:
    found = moment("20:42", LISBON, NOW, "--when")
    assert found.at_ms == local("2026-07-14 20:42")
    assert found.said == "20:42 is still to come today, so yesterday's was taken"


def test_a_day_alone_is_its_beginning_where_that_is_meant() -> None:
    assert moment("2026-03-01", LISBON, NOW, "x", day_alone=True).at_ms == local("2026-03-01")
    assert moment("yesterday", LISBON, NOW, "x", day_alone=True).at_ms == local("2026-07-14")
    with pytest.raises(Unusable, match="at what time"):
        moment("2026-03-01", LISBON, NOW, "x")
    # São Paulo went forward at midnight of 4 November 2018: that day began at 01:00.
    paulo = ZoneInfo("America/Sao_Paulo")
    assert day_start_ms(date(2018, 11, 4), paulo) == local("2018-11-04 01:00", paulo)


@pytest.mark.parametrize(
    "text", ["", "soon", "25:00", "8:61", "13pm", "20", "20.30", "2026-02-30 10:00", "2026-13-01",
             "tomorrow 8:00", "2026-03-01 soon", "now then", "20:30 yesterday"],
)  # fmt: skip
def test_what_is_no_time_is_one_line(text: str) -> None:
    with pytest.raises(Unusable, match=r"^--when: ") as caught:
        moment(text, LISBON, NOW, "--when")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("zone", "text", "clocks"),
    [
        ("Europe/Lisbon", "2026-03-29 01:00", "from 01:00 to 02:00"),
        ("Europe/Lisbon", "2026-03-29 01:59", "from 01:00 to 02:00"),
        ("America/New_York", "2026-03-08 02:30", "from 02:00 to 03:00"),
        ("Australia/Lord_Howe", "2026-10-04 02:15", "from 02:00 to 02:30"),
    ],
)
def test_a_skipped_time_is_refused(zone: str, text: str, clocks: str) -> None:
    now = local("2026-12-01 12:00")
    with pytest.raises(Unusable, match=clocks):
        moment(text, ZoneInfo(zone), now, "--when")


@pytest.mark.parametrize(
    ("zone", "text"),
    [
        ("Europe/Lisbon", "2025-10-26 01:30"),
        ("America/New_York", "2025-11-02 01:30"),
        ("Australia/Lord_Howe", "2025-04-06 01:45"),
    ],
)
def test_of_two_the_earlier_is_taken_and_the_later_named(zone: str, text: str) -> None:
    where = ZoneInfo(zone)
    found = moment(text, where, NOW, "--when")
    assert found.at_ms == local(text, where)
    assert found.said is not None
    later = found.said.rsplit(" ", 1)[1]
    again = moment(later, where, NOW, "--when")
    assert (again.at_ms, again.said) == (local(text, where, fold=1), None)
    assert again.at_ms > found.at_ms


@given(st.integers(0, NOW // 60_000).map(lambda m: m * 60_000), st.sampled_from(ZONES))
def test_every_moment_written_down_is_read_back(at_ms: int, zone: ZoneInfo) -> None:
    """Local time to the minute; of an hour that comes twice the first is read, and that is said."""
    there = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    found = moment(f"{there:%Y-%m-%d %H:%M}", zone, NOW, "x")
    assert found.at_ms == at_ms or (there.fold == 1 and found.said and found.at_ms < at_ms)
    assert moment(there.isoformat(), zone, NOW, "x").at_ms == at_ms
    for exact_ms in (at_ms, at_ms + 7_000, at_ms + 7_031):
        assert moment(written(exact_ms, zone), zone, NOW, "x") == Moment(exact_ms)


@pytest.mark.parametrize(
    ("text", "minutes"), [("10 min ago", 10), ("1h ago", 60), ("90 Minutes ago", 90)]
)
def test_some_time_ago(text: str, minutes: int) -> None:
    assert moment(text, LISBON, NOW, "x").at_ms == NOW // 1000 * 1000 - minutes * 60_000
    assert looks_like_time(text)
