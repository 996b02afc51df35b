"""Quiet hours in the home's own time, also in the nights in which the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch.outbox import Urgency
from analysis.watch.quiet_hours import QuietHours, quiet_hours
from config.errors import BadSettings
from config.settings import parse_settings

LISBON = ZoneInfo("Europe/Lisbon")
NIGHT = QuietHours(time(22), time(7), LISBON)


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("now", "until"),
    [
        ("2026-01-10T21:59:59+00:00", None),
        ("2026-01-10T22:00:00+00:00", "2026-01-11T07:00:00+00:00"),
        ("2026-01-11T06:59:59+00:00", "2026-01-11T07:00:00+00:00"),
        ("2026-01-11T07:00:00+00:00", None),
        # The clocks go forward at 01:00 UTC on 29 March, and back at 01:00 UTC on 25 October.
        ("2026-03-28T23:00:00+00:00", "2026-03-29T07:00:00+01:00"),
        ("2026-03-29T06:30:00+00:00", None),
        ("2026-10-24T23:00:00+01:00", "2026-10-25T07:00:00+00:00"),
        ("2026-10-25T06:30:00+00:00", "2026-10-25T07:00:00+00:00"),
    ],
)
def test_when_they_end(now: str, until: str | None) -> None:
    assert NIGHT.until_ms(ms(now)) == (ms(until) if until is not None else None)


def test_the_urgent_is_never_held() -> None:
    midnight = ms("2026-01-11T00:00:00+00:00")
    assert NIGHT.hold(Urgency.HIGH, midnight) is None
    for urgency in set(Urgency) - {Urgency.HIGH}:
        assert NIGHT.hold(urgency, midnight) == ms("2026-01-11T07:00:00+00:00")


@given(
    st.times().map(lambda t: t.replace(second=0, microsecond=0)),
    st.times().map(lambda t: t.replace(second=0, microsecond=0)),
    st.integers(ms("2026-01-01T00:00:00+00:00"), ms("2026-12-31T00:00:00+00:00")),
)
def test_a_message_is_held_less_than_a_day_and_not_again(
    begins: time, ends: time, now_ms: int
) -> None:
    if begins == ends:
        return
    hours = QuietHours(begins, ends, LISBON)
    until_ms = hours.until_ms(now_ms)
    if until_ms is not None:
        assert 0 < until_ms - now_ms <= timedelta(hours=25) / timedelta(milliseconds=1)
        assert hours.until_ms(until_ms) is None


def test_the_settings_say_both_ends_or_none() -> None:
    assert quiet_hours(parse_settings("", "here")) is None
    both = '[watch]\nquiet_from = "22:00"\nquiet_to = 07:00:00\n'
    found = quiet_hours(parse_settings(both, "here"))
    assert found == QuietHours(time(22), time(7), ZoneInfo("UTC"))
    for wrong in ('quiet_from = "22:00"', 'quiet_from = "7:00"\nquiet_to = "25:00"',
                  'quiet_from = "22:00"\nquiet_to = "22:00"'):  # fmt: skip
        with pytest.raises(BadSettings):
            parse_settings(f"[watch]\n{wrong}\n", "here")


def test_the_zone_is_the_homes() -> None:
    now = datetime(2026, 7, 1, 21, 30, tzinfo=UTC)
    assert NIGHT.until_ms(round(now.timestamp() * 1000)) is not None  # 22:30 in Lisbon
