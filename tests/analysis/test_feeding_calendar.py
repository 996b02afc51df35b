"""The calendar against RFC 5545, read back by the library and by hand."""

from __future__ import annotations

import importlib
from datetime import date, datetime
from typing import Any
from uuid import UUID

import icalendar
import pytest

from analysis.feeding_calendar import calendar
from analysis.next_meal import NextMeal
from collector.book.records import Outcome
from config.errors import NotSo
from tests.analysis.test_next_meal import NOW, SETTINGS, find, ms, taken, weighed


def _events(*of: NextMeal, now_ms: int = NOW) -> list[Any]:
    """The events as read back; a property's type is one of thirty, so that it is not told here."""
    read = icalendar.Calendar.from_ical(calendar(of, SETTINGS, now_ms))
    return [one for one in read.subcomponents if isinstance(one, icalendar.Event)]


def _one(of: NextMeal) -> Any:
    (event,) = _events(of)
    return event


def test_from_the_earliest_day_to_the_end_of_the_interval() -> None:
    """2 to 5 March; DTEND is the day after (RFC 5545, 3.6.1: not included)."""
    event = _one(find([taken("2026-02-23 20:00", after_h=80)], [weighed("2026-02-20 12:00")]))
    assert event["DTSTART"].dt == date(2026, 3, 2)
    assert event["DTEND"].dt == date(2026, 3, 6)
    assert event["DTSTART"].params["VALUE"] == "DATE"
    assert event["SUMMARY"] == "Maren: not before Mon 2 Mar 2026"
    assert "Offer 144 g to 216 g" in event["DESCRIPTION"]
    assert event["LOCATION"] == "left shelf"
    assert event["DTSTAMP"].dt == datetime.fromtimestamp(NOW / 1000, event["DTSTAMP"].dt.tzinfo)


def test_a_day_that_shifts_moves_the_same_event() -> None:
    one, later = (
        _one(find([taken("2026-02-20 20:00", outcome, 41)]))
        for outcome in (Outcome.KEPT, Outcome.REGURGITATED)
    )
    assert one["DTSTART"].dt != later["DTSTART"].dt
    assert one["UID"] == later["UID"]
    assert UUID(one["UID"]).version == 5  # RFC 7986, 5.3: a UUID, nothing about the keeper in it


def test_a_meal_given_ends_it_and_begins_another() -> None:
    meals = [taken("2026-02-10 20:00"), taken("2026-02-23 20:00", number=2)]
    before, after = _one(find(meals[:1])), _one(find(meals))
    assert before["UID"] != after["UID"]


def test_what_has_no_day() -> None:
    """A vet and an overdue meal stand today; a shed on the first day the other rules allow."""
    vet = _one(find([taken("2026-02-20 20:00", Outcome.VOMITED, 41)]))
    assert (vet["DTSTART"].dt, vet["DTEND"].dt) == (date(2026, 2, 27), date(2026, 2, 28))
    shed = _one(find([taken("2026-02-23 20:00")], in_shed=True))
    assert (shed["DTSTART"].dt, shed["DTEND"].dt) == (date(2026, 3, 2), date(2026, 3, 3))
    assert "before a vet has seen it" in vet["SUMMARY"]
    overdue = _one(find([taken("2026-02-01 20:00")]))
    assert (overdue["DTSTART"].dt, overdue["DTEND"].dt) == (date(2026, 2, 27), date(2026, 2, 28))


def test_the_bytes() -> None:
    """Lines end in CRLF and are no longer than 75 octets (3.1); one UID an animal, none twice."""
    found = find([taken("2026-02-23 20:00")], [weighed("2026-02-20 12:00", 2500.0)])
    other = NextMeal(
        **{n: getattr(found, n) for n in found.__slots__} | {"animal": "Tūla; 2, \n x"}
    )
    text = calendar([found, other], SETTINGS, NOW)
    lines = text.split(b"\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    unfolded = text.replace(b"\r\n ", b"").decode().split("\r\n")
    assert "VERSION:2.0" in unfolded
    assert [line for line in unfolded if line.startswith("PRODID:")]
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in unfolded
    summaries = [line for line in unfolded if line.startswith("SUMMARY:")]
    assert summaries[1].startswith(r"SUMMARY:Tūla\; 2\, x: ")
    uids = [line for line in unfolded if line.startswith("UID:")]
    assert len(set(uids)) == 2


def test_no_animals_are_an_empty_calendar() -> None:
    assert _events() == []


def test_the_same_book_gives_the_same_bytes() -> None:
    found = find([taken("2026-02-23 20:00")])
    assert calendar([found], SETTINGS, NOW) == calendar([found], SETTINGS, NOW)
    assert ms("2026-02-27 12:00") == NOW


def test_a_missing_library_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.import_module

    def without(name: str, package: str | None = None) -> object:
        if name == "icalendar":
            raise ModuleNotFoundError("No module named 'icalendar'", name=name)
        return real(name, package)

    monkeypatch.setattr("analysis.statistics.extra.import_module", without)
    with pytest.raises(NotSo, match=r"needs icalendar.*warmcoil\[statistics\]"):
        calendar([], SETTINGS, NOW)
