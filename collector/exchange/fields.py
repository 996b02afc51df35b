"""One field of a CSV row, read or written. An empty field is unknown: None.

Readers raise ValueError saying what is wrong with the text. CSV is RFC 4180.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, tzinfo
from enum import StrEnum

from collector import rfc3339

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_WHOLE = re.compile(r"[+-]?[0-9]{1,18}")

Reader = Callable[[str], object]


def optional(reader: Reader) -> Reader:
    """The same reader, for a field that may be empty."""
    return lambda text: None if text == "" else reader(text)


def required(reader: Reader) -> Reader:
    """The same reader, for a field that may not be empty."""

    def _read(text: str) -> object:
        if text == "":
            raise ValueError("is empty")
        return reader(text)

    return _read


def word(text: str) -> str:
    """A text as it stands. Spaces around it are kept: they may be meant."""
    return text


def number(text: str) -> float:
    """A finite decimal number with a point."""
    if _NUMBER.fullmatch(text) is None:
        if _COMMA.fullmatch(text):
            raise ValueError(f"{shown(text)} has a decimal comma; write {text.replace(',', '.')}")
        raise ValueError(f"{shown(text)} is not a number")
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{shown(text)} is too large a number")
    return value


def whole(text: str) -> int:
    """A whole number."""
    if _WHOLE.fullmatch(text) is None:
        raise ValueError(f"{shown(text)} is not a whole number")
    return int(text)


def moment(text: str) -> int:
    """An RFC 3339 time with its offset, as UTC ms."""
    return rfc3339.parse(text)


def day(text: str) -> date:
    """A day."""
    return rfc3339.parse_day(text)


def one_of(kind: type[StrEnum]) -> Reader:
    """A reader for one of the words of `kind`."""
    words = {member.value: member for member in kind}

    def _read(text: str) -> object:
        found = words.get(text)
        if found is None:
            raise ValueError(f"{shown(text)} is none of: {', '.join(words)}")
        return found

    return _read


def shown(text: str) -> str:
    """A text for a message, cut when it is long, control characters escaped."""
    return repr(text if len(text) <= 60 else text[:60] + "…")


def written(value: object, zone: tzinfo, *, is_time: bool) -> str:
    """A value as a field: times in `zone` with their offset, numbers so that they read back."""
    if value is None:
        return ""
    if is_time and isinstance(value, int):
        return rfc3339.written(value, zone)
    if isinstance(value, StrEnum):
        return value.value
    return value.isoformat() if isinstance(value, date) else str(value)
