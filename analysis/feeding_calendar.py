"""The next meals as a calendar that a phone can subscribe to (iCalendar, RFC 5545).

One all-day event an animal, TENTATIVE: it is a proposal. Its UID belongs to the meal that follows a
certain last meal, so that a day that shifts moves the same event, and a meal that was given ends
it. It says nothing that changes by the hour, and an event that stays the same keeps its DTSTAMP and
SEQUENCE: the file written before is where they are remembered, so an unchanged plan is the same
bytes. There is no METHOD: with one, DTSTAMP would be the time of sending (RFC 5545, 3.8.7.2) and
an ORGANIZER would be needed (RFC 5546, 3.2.1). The calendar's name is NAME (RFC 7986, 5.1); the
X- property that went before it is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from analysis import words
from analysis.condition_words import CAUTION
from analysis.figures.files import write_whole
from analysis.next_meal import NextMeal
from analysis.next_words import author, kinds
from analysis.waits import Wait
from config.errors import Unusable
from config.settings import Settings

PRODID = "-//Warmcoil//next meals//EN"
REFRESH = timedelta(hours=6)
"""How often a phone should look: days shift seldom, and a plan is good for the day it is read."""

_OURS = UUID("7c1e2c1a-6f0b-4f0e-9a55-0d4f6a1c3b92")
"""The name space of these events (RFC 9562, version 5)."""
_KEPT = ("DTSTAMP", "LAST-MODIFIED", "SEQUENCE")


def calendar(
    of: Sequence[NextMeal], settings: Settings, now_ms: int, before: bytes | None = None
) -> bytes:
    """The calendar file, UTF-8 with CRLF lines; `before` is the one written last.

    Raises ValueError where `before` is no calendar.
    """
    whole = Calendar()
    whole.add("prodid", PRODID)
    whole.add("version", "2.0")
    whole.add("calscale", "GREGORIAN")
    whole.add("name", "Next meals")
    whole.add("description", "Proposals for each animal's next meal, from book and probes.")
    whole.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    known = _events(before) if before is not None else {}
    for one in sorted(of, key=lambda one: one.animal):
        event = _event(one, settings)
        _stamp(event, known.get(uid_of(one)), now_ms)
        whole.add_component(event)
    text: bytes = whole.to_ical()
    return text


def write_calendar(path: Path, of: Sequence[NextMeal], settings: Settings, now_ms: int) -> bool:
    """Write the calendar to `path`, whole or not at all; False where it stays as it was.

    Raises Unusable, one line, when there is a file of that name that is not such a calendar.
    """
    before = path.read_bytes() if path.is_file() else None
    if before is not None and f"PRODID:{PRODID}".encode() not in before:
        raise Unusable(f"{path}: is there already and is no calendar of next meals; name another")
    try:
        text = calendar(of, settings, now_ms, before)
    except ValueError:  # a torn one of ours: written anew
        text = calendar(of, settings, now_ms)
    if text == before:
        return False
    write_whole(path, text)
    return True


def uid_of(of: NextMeal) -> str:
    """The same for the same animal and last meal, whatever day the next one falls on.

    A UUID tells nothing about the keeper (RFC 7986, 5.3).
    """
    return str(uuid5(_OURS, f"{of.animal}\n{of.last_meal or ''}\n{of.last_meal_ms or ''}"))


def days_of(of: NextMeal) -> tuple[date, date]:
    """First and last day of the event: from the earliest day to the end of the interval.

    Today alone where a vet comes first or the meal is overdue; in shed, the first day that the
    other rules allow.
    """
    first = of.allowed_from or of.today
    if any(wait.rule == "vet" for wait in of.open_ended):
        return of.today, of.today
    if of.open_ended:
        return of.not_before, of.not_before
    last = of.due if of.due is not None else first
    return (of.today, of.today) if last < of.today else (first, last)


def summary(of: NextMeal) -> str:
    """The event's line: whose meal, and what comes before it."""
    name, rules = words.plain(of.animal), {wait.rule for wait in of.open_ended}
    if "vet" in rules:
        return f"{name}: see a vet before the next meal"
    if "shed" in rules:
        return f"{name}: in shed, no meal until the skin is off"
    vet = "see a vet; " if of.vet else ""
    late = of.due is not None and of.due < of.today
    return f"{name}: {vet}{'a meal is overdue' if late else 'next meal'} (proposal)"


def _event(of: NextMeal, settings: Settings) -> Event:
    first, last = days_of(of)
    event = Event()
    event.add("uid", uid_of(of))
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))  # the day after the last one
    event.add("summary", summary(of))
    event.add("description", "\n".join(_description(of, settings)))
    event.add("status", "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    if of.enclosure is not None:
        event.add("location", words.plain(of.enclosure))
    return event


def _description(of: NextMeal, settings: Settings) -> list[str]:
    """The plan without what changes by the hour."""
    lines = [f"See a vet: {why}." for why in of.vet]
    if of.portion is not None:
        size = words.mass_span(of.portion.low_g, of.portion.high_g, settings)
        half = ", half the usual size" if of.portion.halved else ""
        line = f"{kinds(of.portion.kinds)} of {size}{half}"
        if of.portion.width_mm is not None:
            line += f", at most {words.length_at_most(of.portion.width_mm, settings)} wide"
        lines.append(f"{line[:1].upper()}{line[1:]}.")
    else:
        lines.append("How much is not known: weigh it first.")
    lines += [_rule(wait) for wait in of.waits]
    lines += of.notes.mind
    lines.append(
        f"A proposal by Warmcoil. Look at the animal and the enclosure before you feed. {CAUTION}"
    )
    return lines


def _rule(of: Wait) -> str:
    if of.rule == "digestion":  # its share digested changes by the hour
        text = "the last meal digested, if it lay on the cool side"
    else:
        text = of.why
    day = words.named_day(of.until, of.until) if of.until is not None else "no day"
    return f"{day}: {text}. [{author(of.basis)}]"


# ---- what was said before -------------------------------------------------------------------


def _events(before: bytes) -> dict[str, Event]:
    read = Calendar.from_ical(before)
    return {
        str(one["UID"]): one
        for one in read.walk("VEVENT")
        if isinstance(one, Event) and "UID" in one
    }


def _stamp(event: Event, old: Event | None, now_ms: int) -> None:
    """DTSTAMP is when it was last revised, as there is no METHOD; SEQUENCE counts revisions."""
    if old is not None and all(name in old for name in _KEPT) and _same(event, old):
        for name in _KEPT:
            event[name] = old[name]
        return
    now = datetime.fromtimestamp(now_ms // 1000, UTC)
    event.add("dtstamp", now)
    event.add("last-modified", now)
    event.add(
        "sequence", int(str(old["SEQUENCE"])) + 1 if old is not None and "SEQUENCE" in old else 0
    )


def _same(one: Event, old: Event) -> bool:
    return _plain(one) == _plain(old)


def _plain(of: Mapping[str, object]) -> dict[str, bytes]:
    """Each property as it is written, without those that say when."""
    return {
        name: value.to_ical()  # type: ignore[attr-defined]
        for name, value in of.items()
        if name not in _KEPT
    }
