"""The calendar against RFC 5545: read back by two libraries, and its bytes by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import icalendar
import pytest
import vobject

from analysis.feeding_calendar import calendar, write_calendar
from analysis.fit_today import Fit
from analysis.next_meal import NextMeal
from collector.book.records import Outcome
from config.errors import Unusable
from tests.analysis.test_next_meal import NOW, SETTINGS, SHEDDING, find, ms, taken, weighed

HOUR = 3_600_000


def _events(*of: NextMeal, now_ms: int = NOW, before: bytes | None = None) -> list[Any]:
    """The events as read back; a property's type is one of thirty, so that it is not told here."""
    read = icalendar.Calendar.from_ical(calendar(of, SETTINGS, now_ms, before))
    return [one for one in read.subcomponents if isinstance(one, icalendar.Event)]


def _one(of: NextMeal, now_ms: int = NOW, before: bytes | None = None) -> Any:
    (event,) = _events(of, now_ms=now_ms, before=before)
    return event


def _plan(**changes: Any) -> NextMeal:
    found = find([taken("2026-02-23 20:00", after_h=80)], [weighed("2026-02-20 12:00")])
    return replace(found, **changes)


def test_from_the_earliest_day_to_the_end_of_the_interval() -> None:
    """2 to 5 March; DTEND is the day after (RFC 5545, 3.6.1: not included)."""
    event = _one(_plan())
    assert event["DTSTART"].dt == date(2026, 3, 2)
    assert event["DTEND"].dt == date(2026, 3, 6)
    assert event["DTSTART"].params["VALUE"] == "DATE"
    assert event["SUMMARY"] == "Maren: next meal (proposal)"
    assert event["STATUS"] == "TENTATIVE"
    assert event["DESCRIPTION"].splitlines()[0] == (
        "A young or adult rat of 145–215 g, at most 43 mm wide."
    )
    assert "A proposal by Warmcoil." in event["DESCRIPTION"]
    assert "not veterinary advice" in event["DESCRIPTION"]
    assert event["LOCATION"] == "left shelf"


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
    # An animal and a meal of the same names in another home are others (RFC 5545, 3.8.4.7).
    assert before["UID"] != _one(find([taken("2026-02-10 20:01")]))["UID"]


def test_a_day_that_began_stays_where_it_was() -> None:
    """From the 25th on: on the 27th the event still begins on the 25th, and so it does later."""
    found = find([taken("2026-02-18 20:00")])
    assert _one(found)["DTSTART"].dt == date(2026, 2, 25)
    assert _one(found)["DTEND"].dt == date(2026, 3, 1)


def test_what_has_no_day() -> None:
    """A vet and an overdue meal stand today; a shed on the first day the other rules allow."""
    vet = _one(find([taken("2026-02-20 20:00", Outcome.VOMITED, 41)]))
    assert (vet["DTSTART"].dt, vet["DTEND"].dt) == (date(2026, 2, 27), date(2026, 2, 28))
    shed = _one(find([taken("2026-02-23 20:00")], shed=SHEDDING))
    assert (shed["DTSTART"].dt, shed["DTEND"].dt) == (date(2026, 3, 2), date(2026, 3, 3))
    assert shed["SUMMARY"] == "Maren: in shed, no meal until the skin is off"
    assert vet["SUMMARY"] == "Maren: see a vet before the next meal"
    overdue = _one(find([taken("2026-02-01 20:00")]))
    assert (overdue["DTSTART"].dt, overdue["DTEND"].dt) == (date(2026, 2, 27), date(2026, 2, 28))
    assert overdue["SUMMARY"] == "Maren: a meal is overdue (proposal)"


class TestRevisions:
    def test_an_unchanged_plan_is_the_same_bytes_at_any_hour(self) -> None:
        first = calendar([_plan()], SETTINGS, NOW)
        for later_h in (1, 20, 60):
            assert calendar([_plan()], SETTINGS, NOW + later_h * HOUR, first) == first

    def test_what_changes_by_the_hour_is_no_change(self) -> None:
        """How far the meal is digested, and whether the enclosure is fit just now."""
        open_ = [taken("2026-02-25 12:00", None)]
        plans = [find(open_, [weighed("2026-02-20 12:00")], now_ms=NOW + h * HOUR) for h in (0, 5)]
        assert plans[0].waits[0].why != plans[1].waits[0].why
        first = calendar(plans[:1], SETTINGS, NOW)
        cold = replace(plans[1], fit=Fit(False, ("below 28.0 °C",), 48, 5, 0))
        assert calendar([cold], SETTINGS, NOW + 5 * HOUR, first) == first

    def test_a_changed_plan_counts_up_and_is_stamped(self) -> None:
        """SEQUENCE grows by one (RFC 5545, 3.8.7.4); DTSTAMP and LAST-MODIFIED are when (3.8.7.2:
        without METHOD the two are the same)."""
        first = calendar([_plan()], SETTINGS, NOW)
        moved = _plan(allowed_from=date(2026, 3, 4))
        event = _one(moved, NOW + HOUR, first)
        assert (_one(_plan())["SEQUENCE"], event["SEQUENCE"]) == (0, 1)
        assert event["DTSTAMP"].dt == datetime.fromtimestamp(NOW / 1000 + 3600, UTC)
        assert event["LAST-MODIFIED"].dt == event["DTSTAMP"].dt
        second = calendar([moved], SETTINGS, NOW + HOUR, first)
        assert _one(_plan(), NOW + 2 * HOUR, second)["SEQUENCE"] == 2

    def test_another_animals_change_leaves_it_alone(self) -> None:
        other = _plan(animal="Ombra", last_meal=7)
        first = calendar([_plan(), other], SETTINGS, NOW)
        changed = [_plan(), replace(other, enclosure="right shelf")]
        maren, ombra = _events(*changed, now_ms=NOW + HOUR, before=first)
        assert (maren["SEQUENCE"], ombra["SEQUENCE"]) == (0, 1)
        assert maren["DTSTAMP"].dt == datetime.fromtimestamp(NOW / 1000, UTC)

    def test_the_order_asked_for_does_not_matter(self) -> None:
        both = [_plan(), _plan(animal="Ombra", last_meal=7)]
        assert calendar(both, SETTINGS, NOW) == calendar(both[::-1], SETTINGS, NOW)


class TestFile:
    def test_written_once_and_then_left_alone(self, tmp_path: Path) -> None:
        path = tmp_path / "meals.ics"
        assert write_calendar(path, [_plan()], SETTINGS, NOW)
        inode = path.stat().st_ino
        assert not write_calendar(path, [_plan()], SETTINGS, NOW + HOUR)
        assert path.stat().st_ino == inode
        assert write_calendar(path, [_plan(enclosure=None)], SETTINGS, NOW + HOUR)
        assert [one.name for one in tmp_path.iterdir()] == ["meals.ics"]

    def test_another_file_of_that_name_is_not_overwritten(self, tmp_path: Path) -> None:
        path = tmp_path / "notes.txt"
        path.write_text("dear diary")
        with pytest.raises(Unusable, match="is no calendar of next meals; name another"):
            write_calendar(path, [_plan()], SETTINGS, NOW)
        assert path.read_text() == "dear diary"

    def test_a_torn_one_of_ours_is_written_anew(self, tmp_path: Path) -> None:
        path = tmp_path / "meals.ics"
        whole = calendar([_plan()], SETTINGS, NOW)
        for length in (80, 200, len(whole) - 30):
            path.write_bytes(whole[:length])
            assert write_calendar(path, [_plan()], SETTINGS, NOW)
            assert path.read_bytes().count(b"END:VEVENT") == 1


HARD = "Tūla; 2, \\ \n x: Łódź 🐍 " + "long " * 20


def _text() -> bytes:
    return calendar([_plan(), _plan(animal=HARD, last_meal=None)], SETTINGS, NOW)


def _unfolded() -> list[str]:
    return _text().replace(b"\r\n ", b"").decode().split("\r\n")


def test_lines() -> None:
    """CRLF only, at most 75 octets, no fold inside a character (3.1); no controls (3.3.11)."""
    text = _text()
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert b"\r" not in text.replace(b"\r\n", b"")
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert not [line for line in lines if "\ufffd" in line.decode(errors="replace")]
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)


def test_properties() -> None:
    """What 3.6 and 3.6.1 ask for, once each; nothing of our own or of a vendor's."""
    lines = _unfolded()
    head = lines[: lines.index("BEGIN:VEVENT")]
    assert sorted(head[1:]) == sorted(
        [
            "VERSION:2.0",
            "PRODID:-//Warmcoil//next meals//EN",
            "CALSCALE:GREGORIAN",
            "DESCRIPTION:Proposals for each animal's next meal\\, from book and probes.",
            "NAME:Next meals",
            "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        ]
    )
    names = [re.split("[;:]", line)[0] for line in lines]
    assert not [name for name in names if name.startswith("X-")]
    assert "METHOD" not in names
    for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "LAST-MODIFIED"):
        assert names.count(name) == 2
    stamps = [line for line in lines if line.startswith("DTSTAMP:")]
    assert stamps == ["DTSTAMP:20260227T120000Z"] * 2  # in UTC (3.8.7.2)
    uids = [line for line in lines if line.startswith("UID:")]
    assert len(set(uids)) == 2


def test_escaping() -> None:
    """Backslash, semicolon and comma are escaped, a colon is not (3.3.11)."""
    (summary,) = [line for line in _unfolded() if line.startswith("SUMMARY:T")]
    assert summary.startswith(r"SUMMARY:Tūla\; 2\, \\ x: Łódź 🐍 long long")
    assert any(r"wide.\n" in line for line in _unfolded() if line.startswith("DESCRIPTION:A"))


def test_another_parser_reads_the_same() -> None:
    """vobject, which shares no code with icalendar."""
    read = vobject.readOne(_text().decode())
    events = {event.summary.value: event for event in read.vevent_list}
    maren = events["Maren: next meal (proposal)"]
    assert (maren.dtstart.value, maren.dtend.value) == (date(2026, 3, 2), date(2026, 3, 6))
    assert maren.description.value.startswith("A young or adult rat of 145–215 g, at most 43 mm")
    assert "[common practice]\nA proposal by Warmcoil." in maren.description.value
    assert maren.dtstamp.value == datetime.fromtimestamp(NOW / 1000, UTC)
    assert [name for name in events if name.startswith("Tūla; 2, \\ x: Łódź 🐍 long long")]


def test_no_animals_are_an_empty_calendar() -> None:
    assert _events() == []
    assert ms("2026-02-27 12:00") == NOW
