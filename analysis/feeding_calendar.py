"""The next meals as a calendar that a phone can subscribe to (iCalendar, RFC 5545).

One all-day event an animal. Its UID belongs to the meal that follows a certain last meal, so that a
day that shifts moves the same event, and a meal that was given ends it. Needs icalendar.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

from analysis import words
from analysis.next_meal import NextMeal
from analysis.next_words import sentences, when
from analysis.statistics.extra import needed
from config.settings import Settings

_OURS = UUID("7c1e2c1a-6f0b-4f0e-9a55-0d4f6a1c3b92")
"""The name space of these events (RFC 9562, version 5)."""


def calendar(of: Sequence[NextMeal], settings: Settings, now_ms: int) -> bytes:
    """The calendar file, UTF-8 with CRLF lines. Raises NotSo where icalendar is missing."""
    library = needed("icalendar")
    whole = library.Calendar()
    whole.add("prodid", "-//Warmcoil//next meals//EN")
    whole.add("version", "2.0")
    whole.add("method", "PUBLISH")
    whole.add("name", "Next meals")  # RFC 7986
    whole.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    for one in of:
        first, last = days_of(one)
        event = library.Event()
        event.add("uid", uid_of(one))
        event.add("dtstamp", datetime.fromtimestamp(now_ms // 1000, UTC))
        event.add("dtstart", first)
        event.add("dtend", last + timedelta(days=1))  # the day after the last one
        event.add("summary", f"{words.plain(one.animal)}: {when(one)}")
        event.add("description", "\n".join(sentences(one, settings)))
        event.add("transp", "TRANSPARENT")
        event.add("class", "PRIVATE")
        if one.enclosure is not None:
            event.add("location", words.plain(one.enclosure))
        whole.add_component(event)
    text: bytes = whole.to_ical()
    return text


def uid_of(of: NextMeal) -> str:
    """The same for the same animal and last meal, whatever day the next one falls on."""
    return str(uuid5(_OURS, f"{of.animal}\n{of.last_meal if of.last_meal is not None else ''}"))


def days_of(of: NextMeal) -> tuple[date, date]:
    """First and last day of the event: from the earliest day to the end of the interval.

    Today alone where a vet comes first or the meal is overdue; in shed, the first day that the
    other rules allow.
    """
    if any(wait.rule == "vet" for wait in of.open_ended):
        return of.today, of.today
    first = of.not_before
    if of.open_ended or of.due is None or of.due < first:
        return first, first
    return first, of.due
