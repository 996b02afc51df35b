"""Moments as a keeper writes them: "now", "10 min ago", "20:30", "yesterday 8:30pm", and with
their day: "2026-03-01 20:30".

Pure, and light. Times are in the home's zone. A time that a clock change skipped is refused; of
one that comes twice the earlier is taken, and that is said. Both can be written with their offset
(RFC 3339).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from datetime import time as clock_time
from typing import Final

from analysis.words import local_clock, local_day, local_day_of
from config.errors import Unusable

AHEAD_MS: Final = 10 * 60_000
"""How far ahead of this machine's clock a moment may be: another clock may be a little fast."""

_CLOCK = re.compile(
    r"([0-9]{1,2})(?::([0-9]{2})(?::([0-9]{2}))?\s*([ap]m)?|\s*([ap]m))", re.IGNORECASE
)
_AGO = re.compile(r"([0-9]{1,4})\s*(min|minutes?|h|hours?) ago", re.IGNORECASE)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_WORDS = {"today": 0, "yesterday": 1}
_EXAMPLES = 'now, "10 min ago", 20:30, "yesterday 20:30" or "2026-03-01 20:30"'


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment, UTC in ms, and what has to be said about how it was read (None: nothing).

    `twice` is True for a local time that came twice, of which the earlier was taken.
    """

    at_ms: int
    said: str | None = None
    twice: bool = False


def looks_like_time(text: str) -> bool:
    """True for a word that could begin a moment, rather than an animal's name or a number."""
    low = text.strip().lower()
    if low.split(" ", 1)[0] in ("now", *_WORDS) or _DAY.match(low):
        return True
    return looks_like_clock(low) or _AGO.fullmatch(low) is not None


def looks_like_day(text: str) -> bool:
    """True for a day that a time of day may follow: "yesterday", "2026-03-01"."""
    return text.lower() in _WORDS or _DAY.fullmatch(text) is not None


def looks_like_clock(text: str) -> bool:
    """True for a time of day: "20:30", "8pm"."""
    return _CLOCK.fullmatch(text.strip()) is not None


def moment(text: str, zone: tzinfo, now_ms: int, name: str, *, day_alone: bool = False) -> Moment:
    """The moment that a keeper wrote; `name` names the entry in the error. Raises Unusable.

    A time of day alone is today's, or yesterday's where today's is still to come. `day_alone`
    lets a day stand for its beginning.
    """
    words = " ".join(text.replace("T", " ").split()) if _DAY.match(text.strip()) else text.strip()
    if words.lower() == "now":
        return Moment(now_ms // 1000 * 1000)
    ago = _AGO.fullmatch(words)
    if ago is not None:
        unit_ms = 60_000 if ago[2].lower().startswith("m") else 3_600_000
        return Moment(now_ms // 1000 * 1000 - int(ago[1]) * unit_ms)
    exact = _with_offset(text.strip())
    if exact is not None:
        return Moment(exact)
    today = local_day_of(now_ms, zone)
    head, _, rest = words.partition(" ")
    day = _day(head, today, text, name)
    if day is None:
        return _clock_alone(words, today, zone, now_ms, name)
    if rest:
        return _on(day, _clock(rest, text, name), zone, name)
    if day_alone:
        return Moment(day_start_ms(day, zone))
    raise Unusable(f'{name}: {_shown(text)} at what time? write for example "{text.strip()} 20:30"')


def written(at_ms: int, zone: tzinfo) -> str:
    """A moment as `moment` reads it back, to the ms: local time, with its offset if it came twice.

    "2026-03-01 20:30", "2026-03-01 20:30:15", "2026-10-25T01:30:00+00:00".
    """
    at = datetime.fromtimestamp(at_ms // 1000, UTC).replace(microsecond=at_ms % 1000 * 1000)
    local = at.astimezone(zone)
    if local.microsecond or local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset():
        return local.isoformat(timespec="milliseconds" if local.microsecond else "seconds")
    return local.strftime("%Y-%m-%d %H:%M:%S" if local.second else "%Y-%m-%d %H:%M")


def local_ms(day: date, at: clock_time, zone: tzinfo) -> int:
    """UTC ms of a local time; the earlier of two, and of one that was skipped the moment as far
    after the change as the clocks went forward."""
    return round(datetime.combine(day, at, tzinfo=zone).timestamp() * 1000)


def day_start_ms(day: date, zone: tzinfo) -> int:
    """UTC ms of the first moment of a day."""
    start = local_ms(day, clock_time(0), zone)
    return start if _exists(day, clock_time(0), zone) else _change_ms(start, zone)


def _change_ms(after_ms: int, zone: tzinfo) -> int:
    """The moment at which the clocks went forward, shortly before `after_ms`."""
    at = datetime.fromtimestamp(after_ms / 1000, UTC)
    offset = at.astimezone(zone).utcoffset()
    while (at - timedelta(minutes=1)).astimezone(zone).utcoffset() == offset:
        at -= timedelta(minutes=1)
    return round(at.timestamp() * 1000)


def _with_offset(text: str) -> int | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if at.tzinfo is None else round(at.timestamp() * 1000)


def _day(head: str, today: date, text: str, name: str) -> date | None:
    if head.lower() in _WORDS:
        return today - timedelta(days=_WORDS[head.lower()])
    if not _DAY.fullmatch(head):
        return None
    try:
        return date.fromisoformat(head)
    except ValueError:
        raise Unusable(f"{name}: {_shown(text)} is no day that exists; correct it") from None


def _clock_alone(words: str, today: date, zone: tzinfo, now_ms: int, name: str) -> Moment:
    at = _clock(words, words, name)
    if local_ms(today, at, zone) <= now_ms + AHEAD_MS:
        return _on(today, at, zone, name)
    found = _on(today - timedelta(days=1), at, zone, name)
    said = f"{words} is still to come today, so yesterday's was taken"
    return Moment(found.at_ms, f"{said}; {found.said}" if found.said else said, found.twice)


def _clock(text: str, whole: str, name: str) -> clock_time:
    match = _CLOCK.fullmatch(text.strip())
    try:
        hour, minute, second = (
            (int(part or 0) for part in match.groups()[:3]) if match else (24,) * 3
        )
        return clock_time(_hour(hour, match and (match[4] or match[5])), minute, second)
    except ValueError:
        raise Unusable(f"{name}: {_shown(whole)} is not a time; write {_EXAMPLES}") from None


def _hour(hour: int, half: str | None) -> int:
    if half is None:
        return hour
    if not 1 <= hour <= 12:
        raise ValueError(hour)
    return hour % 12 + (12 if half.lower() == "pm" else 0)


def _on(day: date, at: clock_time, zone: tzinfo, name: str) -> Moment:
    first = local_ms(day, at, zone)
    if not _exists(day, at, zone):
        change = _change_ms(first, zone)
        raise Unusable(
            f"{name}: there was no {at:%H:%M} on {local_day(first, zone)}: the clocks went from "
            f"{_before(change, zone)} to {local_clock(change, zone)}; give a time that was"
        )
    second = round(datetime.combine(day, at.replace(fold=1), tzinfo=zone).timestamp() * 1000)
    if second <= first:
        return Moment(first)
    offset = datetime.fromtimestamp(second / 1000, UTC).astimezone(zone).isoformat()
    return Moment(
        first,
        f"{at:%H:%M} came twice on {local_day(first, zone)}, the earlier was taken; "
        f"the later is {offset}",
        twice=True,
    )


def _exists(day: date, at: clock_time, zone: tzinfo) -> bool:
    back = datetime.combine(day, at, tzinfo=zone).astimezone(UTC).astimezone(zone)
    return back.replace(tzinfo=None) == datetime.combine(day, at)


def _before(change_ms: int, zone: tzinfo) -> str:
    """What the clocks showed when they were put forward."""
    minute_ms = 60_000
    shown = datetime.fromtimestamp((change_ms - minute_ms) / 1000, UTC).astimezone(zone)
    return f"{shown + timedelta(minutes=1):%H:%M}"


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")
