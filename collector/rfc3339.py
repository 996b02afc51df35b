"""Times as RFC 3339 writes them, to and from UTC milliseconds.

Strict: a date, a `T` or a space, a time with seconds, and an offset (`Z` or `±hh:mm`), because a
time without one is a guess twice a year. Digits beyond the millisecond are dropped, so that a
reading is never put later than it was.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta, tzinfo

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
_TIME = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})[Tt ]([0-9]{2}):([0-9]{2}):([0-9]{2})"
    r"(?:\.([0-9]+))?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_NO_OFFSET = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?"
)
_NO_SECONDS = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_EXAMPLE = "2024-05-30T18:00:00+01:00"


def parse(text: str) -> int:
    """UTC milliseconds of an RFC 3339 time. Raises ValueError saying what is wrong with it."""
    match = _TIME.fullmatch(text)
    if match is None:
        raise ValueError(_why_not(text))
    year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
    leap = second == 60
    try:
        moment = datetime(year, month, day, hour, minute, 59 if leap else second, tzinfo=UTC)
    except ValueError as fault:
        raise ValueError(f"{_shown(text)} is no time that exists: {fault}") from None
    fraction = int((match[7] or "")[:3].ljust(3, "0"))
    at_ms = (moment - _EPOCH) // _MS + fraction - _offset_minutes(match[8], text) * 60_000
    return _after_leap(at_ms, text) if leap else at_ms


def parse_day(text: str) -> date:
    """A day: `2021-05-30`, or an RFC 3339 time, of which the day as written is taken."""
    if _DAY.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError as fault:
            raise ValueError(f"{_shown(text)} is no day that exists: {fault}") from None
    if not _TIME.fullmatch(text):
        raise ValueError(f"{_shown(text)} is not a day; write for example 2021-05-30")
    parse(text)
    return date.fromisoformat(text[:10])


def written(at_ms: int, zone: tzinfo = UTC) -> str:
    """An RFC 3339 time in `zone`, to the second, or to the millisecond where there are any.

    Zones of long ago are off by odd seconds, which RFC 3339 cannot write: then it is UTC.
    """
    moment = (_EPOCH + timedelta(milliseconds=at_ms)).astimezone(zone)
    offset = moment.utcoffset() or timedelta()
    if offset % timedelta(minutes=1):
        moment, offset = moment.astimezone(UTC), timedelta()
    text = moment.replace(tzinfo=None).isoformat(
        timespec="milliseconds" if at_ms % 1000 else "seconds"
    )
    if not offset:
        return text + ("Z" if zone is UTC else "+00:00")
    sign, minutes = ("-", -offset) if offset < timedelta() else ("+", offset)
    hours, rest = divmod(minutes // timedelta(minutes=1), 60)
    return f"{text}{sign}{hours:02d}:{rest:02d}"


def _offset_minutes(text: str, whole: str) -> int:
    if text in ("Z", "z"):
        return 0
    hours, minutes = int(text[1:3]), int(text[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError(f"{_shown(whole)} has an offset that does not exist: {text}")
    return (hours * 60 + minutes) * (-1 if text[0] == "-" else 1)


def _after_leap(last_ms: int, text: str) -> int:
    """A leap second has no number of its own in UTC milliseconds: it is the second after it."""
    if last_ms // 1000 % 86_400 != 86_399:
        raise ValueError(f"{_shown(text)} has second 60, which only 23:59 UTC can have")
    return last_ms + 1000


def _why_not(text: str) -> str:
    if _NO_OFFSET.fullmatch(text):
        seconds = "" if text.count(":") == 2 else ":00"
        return f"{_shown(text)} has no offset; write for example {text[:19]}{seconds}+01:00"
    if _NO_SECONDS.fullmatch(text):
        return f"{_shown(text)} has no seconds; write for example {text[:16]}:00{text[16:]}"
    return f"{_shown(text)} is not a time; write for example {_EXAMPLE}"


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:60] + "…")
