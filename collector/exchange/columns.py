"""Whole columns of times and numbers at once, for files of millions of rows.

Each function gives None for a column that it cannot vouch for; then the rows are read one by
one, strictly, and the fault is named there. What they do give is what the strict readers would.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from datetime import tzinfo
from math import isfinite
from operator import add

from collector import rfc3339

_SECONDS = {f"{second:02d}": second * 1000 for second in range(60)}
_MILLISECONDS = {f".{ms:03d}": ms for ms in range(1000)}
_TO_THE_SECOND = (20, 25)
_TO_THE_MILLISECOND = (24, 29)
_REMEMBERED = 100_000
_OF_NUMBERS = b"0123456789+-.eE,"
_MINUTE_MS = 60_000


class Minutes(dict[str, int]):
    """UTC ms of "2024-05-30T18:00:" with its offset behind it; each is parsed once."""

    def __missing__(self, text: str) -> int:
        if len(self) >= _REMEMBERED:
            self.clear()
        at_ms = self[text] = rfc3339.parse(f"{text[:17]}00{text[17:]}")
        return at_ms


def times(texts: Sequence[str], minutes: Minutes) -> list[int] | None:
    """UTC ms of RFC 3339 times, when all are of one length and none has a leap second."""
    length = len(texts[0])
    if set(map(len, texts)) != {length}:
        return None
    try:
        if length in _TO_THE_SECOND:
            starts = map(minutes.__getitem__, [text[:17] + text[19:] for text in texts])
            return list(map(add, starts, [_SECONDS[text[17:19]] for text in texts]))
        if length in _TO_THE_MILLISECOND:
            starts = map(minutes.__getitem__, [text[:17] + text[23:] for text in texts])
            seconds = [_SECONDS[text[17:19]] + _MILLISECONDS[text[19:23]] for text in texts]
            return list(map(add, starts, seconds))
    except (KeyError, ValueError):
        return None
    return None


def numbers(texts: Sequence[str]) -> array[float] | None:
    """Finite decimal numbers. Of the signs that are let through, float() takes no other words."""
    if ",".join(texts).encode().translate(None, _OF_NUMBERS):
        return None
    try:
        values = array("d", map(float, texts))
    except ValueError:
        return None
    return values if isfinite(sum(values)) else None


class TimeTexts:
    """RFC 3339 texts of many times in one zone, the same as `rfc3339.written` gives."""

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone
        self._minutes: dict[int, tuple[str, str]] = {}

    def of(self, at_ms: Sequence[int]) -> Iterator[str]:
        """The texts, in order."""
        minutes = self._minutes
        for one in at_ms:
            minute, rest = divmod(one, _MINUTE_MS)
            around = minutes.get(minute) or self._around(minute)
            second, ms = divmod(rest, 1000)
            yield (
                f"{around[0]}{second:02d}.{ms:03d}{around[1]}"
                if ms
                else f"{around[0]}{second:02d}{around[1]}"
            )

    def _around(self, minute: int) -> tuple[str, str]:
        """What stands before and behind the seconds. Offsets change on whole minutes."""
        if len(self._minutes) >= _REMEMBERED:
            self._minutes.clear()
        text = rfc3339.written(minute * _MINUTE_MS, self._zone)
        around = self._minutes[minute] = text[:17], text[19:]
        return around
