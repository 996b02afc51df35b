"""Temperatures, masses, durations, dates and a keeper's own words, as they are said."""

from __future__ import annotations

from datetime import UTC, datetime
from xml.etree import ElementTree as ET
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.words import (
    about_days,
    age,
    day_number,
    hours,
    local_clock,
    local_day,
    local_time,
    mass,
    plain,
    shown_temperature,
    temperature,
    temperature_change,
    temperature_span,
)
from config.settings import Settings

CELSIUS = Settings()
FAHRENHEIT = Settings.model_validate({"show": {"temperature": "degF", "mass": "oz"}})
HOUR = 3_600_000
DAY = 24 * HOUR


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("value", "celsius", "fahrenheit"),
    [
        # Fixed points: water freezes at 0 °C = 32 °F and boils at 100 °C = 212 °F; −40 is both.
        (0.0, "0.0 °C", "32.0 °F"),
        (100.0, "100.0 °C", "212.0 °F"),
        (-40.0, "−40.0 °C", "−40.0 °F"),
        (31.24, "31.2 °C", "88.2 °F"),
        (-0.04, "0.0 °C", "31.9 °F"),
        (None, "not known", "not known"),
    ],
)
def test_temperatures(value: float | None, celsius: str, fahrenheit: str) -> None:
    assert temperature(value, CELSIUS) == celsius
    assert temperature(value, FAHRENHEIT) == fahrenheit


def test_spans_and_changes_of_temperature() -> None:
    assert temperature_span(27.93, 31.6, CELSIUS) == "27.9 to 31.6 °C"
    assert temperature_span(None, 31.6, CELSIUS) == "not known"
    # A difference has no offset: 5 K is 9 °F.
    assert temperature_change(-5.0, FAHRENHEIT) == "9.0 °F"
    assert temperature_change(-1.24, CELSIUS) == "1.2 °C"
    assert temperature_change(None, CELSIUS) == "not known"


@given(st.floats(-60, 120))
def test_fahrenheit_and_back(value_c: float) -> None:
    assert (shown_temperature(value_c, FAHRENHEIT) - 32) / 1.8 == pytest.approx(value_c, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "grams", "ounces"),
    [
        (220.0, "220 g", "7.8 oz"),
        (1240.0, "1,240 g", "43.7 oz"),
        (4.0, "4 g", "0.1 oz"),
        (1.5, "1.5 g", "0.1 oz"),
        (453.59237, "454 g", "16.0 oz"),  # one pound, exact by definition
        (None, "not known", "not known"),
    ],
)
def test_masses(value: float | None, grams: str, ounces: str) -> None:
    assert mass(value, CELSIUS) == grams
    assert mass(value, FAHRENHEIT) == ounces


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (41.3, "41 h"), (41.999, "41 h"), (5.9999999999, "6 h"), (5.99, "5 h"), (1.0, "1 h"),
        (0.75, "45 min"), (0.001, "under 1 min"), (0.0, "0 min"), (1234.0, "1,234 h"),
        (None, "not known"),
    ],
)  # fmt: skip
def test_hours_are_whole_and_never_more_than_were(value: float | None, said: str) -> None:
    assert hours(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(8.1, "about 8 days"), (7.5, "about 8 days"), (1.2, "about 1 day"), (0.2, "about 1 day"),
     (None, "not known")],
)  # fmt: skip
def test_modelled_days_are_about(value: float | None, said: str) -> None:
    assert about_days(value) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "just now"), (9.9, "just now"), (12.0, "12 s ago"), (125.0, "2 min ago"),
        (3600.0, "1 h ago"), (47 * 3600.0, "47 h ago"), (48 * 3600.0, "2 days ago"),
        (-5.0, "just now"), (-61.0, "1 min ahead of this clock"), (None, "never"),
    ],
)  # fmt: skip
def test_ages(seconds: float | None, said: str) -> None:
    assert age(seconds) == said


def test_dates_are_the_homes_over_a_change_of_the_clocks() -> None:
    lisbon = ZoneInfo("Europe/Lisbon")  # goes forward on 29 March 2026 at 01:00 UTC
    assert local_time(ms("2026-03-28T23:30+00:00"), lisbon) == "Sat 28 Mar 2026, 23:30"
    assert local_time(ms("2026-03-29T23:30+00:00"), lisbon) == "Mon 30 Mar 2026, 00:30"
    assert local_clock(ms("2026-03-29T00:59+00:00"), lisbon) == "00:59"
    assert local_clock(ms("2026-03-29T01:00+00:00"), lisbon) == "02:00"
    assert local_day(ms("2026-03-03T12:00+00:00"), UTC) == "Tue 3 Mar"
    assert local_time(None, lisbon) == "not known"


@given(st.integers(-10_000_000_000_000, 10_000_000_000_000))
def test_days_of_the_week_are_the_calendars(at_ms: int) -> None:
    # The reference is the C library's, in its own locale "C".
    when = datetime.fromtimestamp(at_ms // 1000, UTC)
    assert local_day(at_ms, UTC) == f"{when:%a} {when.day} {when:%b}"


@given(st.integers(0, 60 * DAY))
def test_the_first_24_hours_are_day_1(after: int) -> None:
    assert day_number(after, 0) == after // DAY + 1


def test_a_keepers_own_words_stay_on_one_line() -> None:
    assert plain("left\tshelf\r\n  top ") == "left shelf top"
    assert plain("abc\u202edcba\u2066x\u2069") == "abcdcbax"
    assert plain("bell\x07\x00null\ud800\ufffe") == "bell null"
    assert plain("שלום \N{SNAKE} $x_1$ <b>") == "שלום \N{SNAKE} $x_1$ <b>"
    assert plain("a\u2028b\u2029c") == "a b c"


@given(st.text())
def test_whatever_was_typed_makes_xml(text: str) -> None:
    said = plain(text)
    assert said == " ".join(said.split())
    root = ET.fromstring(f"<t>{escape(said)}</t>")  # noqa: S314  # of our own making
    assert (root.text or "") == said
    said.encode("utf-8")
