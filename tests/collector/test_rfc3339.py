"""RFC 3339 times: its own examples, what is refused word by word, and the standard library.

The examples of section 5.8 are from memory.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rfc3339 import parse, parse_day, written

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ZONES = [
    "UTC", "Europe/Lisbon", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe",
    "Europe/Amsterdam", "Africa/Monrovia",
]  # fmt: skip

EXAMPLES = [
    ("1985-04-12T23:20:50.52Z", 482_196_050_520),
    ("1996-12-19T16:39:57-08:00", 851_042_397_000),
    ("1990-12-31T23:59:60Z", 662_688_000_000),
    ("1990-12-31T15:59:60-08:00", 662_688_000_000),
    ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
    ("1970-01-01T00:00:00Z", 0),
    ("1969-12-31T23:59:59.999Z", -1),
    ("1970-01-01 00:00:01-00:00", 1000),
    ("1970-01-01t00:00:00.0019z", 1),
    ("2024-02-29T00:00:00+14:00", 1_709_114_400_000),
    ("1970-01-01T00:00:00.123456789012345678901234567890Z", 123),
]


@pytest.mark.parametrize(("text", "at_ms"), EXAMPLES)
def test_examples(text: str, at_ms: int) -> None:
    assert parse(text) == at_ms


REFUSED = [
    (
        "2024-05-30T18:00:00",
        "'2024-05-30T18:00:00' has no offset; write for example 2024-05-30T18:00:00+01:00",
    ),
    (
        "2024-05-30 18:00",
        "'2024-05-30 18:00' has no offset; write for example 2024-05-30 18:00:00+01:00",
    ),
    (
        f"2024-05-30T18:00:00.{'9' * 2000}",
        (
            f"'2024-05-30T18:00:00.{'9' * 40}…' has no offset; "
            "write for example 2024-05-30T18:00:00+01:00"
        ),
    ),
    (
        "2024-05-30T18:00Z",
        "'2024-05-30T18:00Z' has no seconds; write for example 2024-05-30T18:00:00Z",
    ),
    (
        "2024-05-30T18:00+02:00",
        "'2024-05-30T18:00+02:00' has no seconds; write for example 2024-05-30T18:00:00+02:00",
    ),
    (
        "2023-02-30T00:00:00Z",
        "'2023-02-30T00:00:00Z' is no time that exists: day is out of range for month",
    ),
    (
        "2023-01-01T24:00:00Z",
        "'2023-01-01T24:00:00Z' is no time that exists: hour must be in 0..23",
    ),
    (
        "2023-01-01T00:60:00Z",
        "'2023-01-01T00:60:00Z' is no time that exists: minute must be in 0..59",
    ),
    (
        "2023-01-01T00:00:61Z",
        "'2023-01-01T00:00:61Z' is no time that exists: second must be in 0..59",
    ),
    ("2023-01-01T00:00:60Z", "'2023-01-01T00:00:60Z' has second 60, which only 23:59 UTC can have"),
    (
        "2023-01-01T00:00:00+24:00",
        "'2023-01-01T00:00:00+24:00' has an offset that does not exist: +24:00",
    ),
    (
        "2023-01-01T00:00:00+01:60",
        "'2023-01-01T00:00:00+01:60' has an offset that does not exist: +01:60",
    ),
    (
        "0000-01-01T00:00:00Z",
        "'0000-01-01T00:00:00Z' is no time that exists: year 0 is out of range",
    ),
    *(
        (text, f"{text!r} is not a time; write for example 2024-05-30T18:00:00+01:00")
        for text in (
            "",
            "x",
            "30/05/2024 18:00",
            "2024-05-30",
            "20240530T180000Z",
            "2024-5-30T18:00:00Z",
            "2024-05-30T18:00:00+0100",
            "2024-05-30T18:00:00 +01:00",
            "2024-05-30T18:00:00.Z",
            "٢٠٢٤-05-30T18:00:00Z",
            " 2024-05-30T18:00:00Z",
            "2024-05-30T18:00:00Z\n",
            "2024-05-30T18:00:00,5Z",
            "1717092000",
        )
    ),
    ("x" * 90, f"'{'x' * 60}…' is not a time; write for example 2024-05-30T18:00:00+01:00"),
]


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_what_is_refused_and_why(text: str, why: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011  # the whole text is compared
        parse(text)
    assert str(caught.value).startswith(why)  # what Python adds differs by its version


@given(
    st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29)),  # noqa: DTZ001  # it gets one below
    st.integers(-23 * 60 - 59, 23 * 60 + 59),
)
def test_the_standard_library_agrees(moment: datetime, offset: int) -> None:
    aware = moment.replace(tzinfo=timezone(timedelta(minutes=offset)))
    exact = (aware - EPOCH) // timedelta(milliseconds=1)
    floor_of_the_text = (aware.replace(microsecond=0) - EPOCH) // timedelta(milliseconds=1)
    assert parse(aware.isoformat()) == floor_of_the_text + moment.microsecond // 1000 == exact


@given(st.integers(-62_000_000_000_000, 253_000_000_000_000), st.sampled_from(ZONES))
def test_what_is_written_reads_back(at_ms: int, zone: str) -> None:
    text = written(at_ms, ZoneInfo(zone))
    assert parse(text) == at_ms
    assert len(text) == (29 if at_ms % 1000 else 25) or text.endswith("Z")


def test_written_in_words() -> None:
    assert written(0) == "1970-01-01T00:00:00Z"
    assert written(-1) == "1969-12-31T23:59:59.999Z"
    assert written(0, ZoneInfo("America/New_York")) == "1969-12-31T19:00:00-05:00"
    assert written(0, ZoneInfo("UTC")) == "1970-01-01T00:00:00+00:00"
    # Liberia kept to 44 minutes and a half until 1972 (tz database): RFC 3339 cannot say it.
    assert written(0, ZoneInfo("Africa/Monrovia")) == "1970-01-01T00:00:00+00:00"


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2021-05-30", date(2021, 5, 30)),
        ("2021-05-30T23:30:00-10:00", date(2021, 5, 30)),
        ("2024-02-29", date(2024, 2, 29)),
    ],
)
def test_days(text: str, day: date) -> None:
    assert parse_day(text) == day


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2021-02-29", "'2021-02-29' is no day that exists: day is out of range for month"),
        ("30.5.2021", "'30.5.2021' is not a day; write for example 2021-05-30"),
        ("2021", "'2021' is not a day; write for example 2021-05-30"),
        (
            "2021-05-30T24:00:00Z",
            "'2021-05-30T24:00:00Z' is no time that exists: hour must be in 0..23",
        ),
    ],
)
def test_what_is_no_day(text: str, why: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011  # the whole text is compared
        parse_day(text)
    assert str(caught.value).startswith(why)  # what Python adds differs by its version
