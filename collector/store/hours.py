"""Readings by the hour: what stays of a day that is thinned, and how it is packed.

Of every UTC hour that has a reading: how many were usable and how many doubted, the lowest, the
mean and the highest corrected value of the usable ones, and how long their line is known. The mean
is time-weighted along the straight line between readings near enough to be joined, from the hour's
beginning to its end; where none are joined it is the plain mean. It is never outside the lowest and
the highest. No line reaches into another UTC day: so a day needs no reading of its neighbours.

    packed    a version byte, then, deflated: the header (number of hours, the first one), a column
              for each field, and the CRC-32 of all that; little-endian. An hour without a usable
              reading has zeros in the place of its values.
"""

from __future__ import annotations

import struct
import sys
import zlib
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import chain, compress
from math import fsum
from operator import add, mul, sub
from typing import Any, NamedTuple

from collector.store.columns import Columns
from config.errors import StoreFault

HOUR_MS = 3_600_000
VERSION = 1
_HEADER = struct.Struct("<Bq")
_MOST = 24
_TYPES = "BIIIddd"
"""Of the columns: hours after the first, usable, doubted, known_ms, lowest, mean, highest."""
_UNKNOWN = (None, None, None)
_SANE = 1e9
"""No sensor says more, and sums of such values stay finite. What is beyond counts as doubted."""
_BIG_ENDIAN = sys.byteorder == "big"


class Hour(NamedTuple):
    """An hour of one series. Values in °C, %RH or V, corrected; None without a usable reading."""

    number: int
    """Hours since 1970-01-01T00Z."""
    readings: int
    """Usable ones."""
    flagged: int
    """Doubted ones, which are not used."""
    known_ms: int
    """How long the line between its readings is known, in ms."""
    low: float | None
    mean: float | None
    high: float | None

    @property
    def start_ms(self) -> int:
        """Its beginning, UTC in ms."""
        return self.number * HOUR_MS


def hours_of(columns: Columns, gap_ms: float) -> list[Hour]:
    """The hours of readings of one UTC day; those further apart than `gap_ms` are not joined."""
    every, values = columns.at_ms, columns.values()
    usable = [
        not flag and abs(value) <= _SANE for flag, value in zip(columns.flags, values, strict=True)
    ]
    at_ms = every if all(usable) else array("q", compress(every, usable))
    line = _Line(at_ms, values if all(usable) else array("d", compress(values, usable)), gap_ms)
    found, start = [], 0
    while start < len(every):
        number = every[start] // HOUR_MS
        end = bisect_left(every, (number + 1) * HOUR_MS, lo=start)
        found.append(line.hour(number, end - start))
        start = end
    return found


def merged(one: Iterable[Hour], other: Iterable[Hour]) -> list[Hour]:
    """Hours known twice: readings came late for a day that was thinned, or came once more.

    Of each hour the set with more readings stands, and the lowest and the highest of both; so
    nothing that was seen is lost, and what comes again changes nothing. In whatever order and
    however often sets are merged, the end is the same.
    """
    found = {hour.number: hour for hour in one}
    for hour in other:
        known = found.get(hour.number)
        found[hour.number] = hour if known is None else _together(known, hour)
    return [found[number] for number in sorted(found)]


def count_of(hours: Iterable[Hour]) -> int:
    """How many readings the hours had, usable or not."""
    return sum(hour.readings + hour.flagged for hour in hours)


def pack_hours(hours: Sequence[Hour]) -> bytes:
    """Hours of one UTC day, in order. Raises ValueError for none or too many."""
    if not 0 < len(hours) <= _MOST:
        raise ValueError("a day has one hour at least and 24 at most")
    first = hours[0].number
    columns: list[list[Any]] = [
        [hour.number - first for hour in hours],
        [hour.readings for hour in hours],
        [hour.flagged for hour in hours],
        [hour.known_ms for hour in hours],
        [hour.low or 0.0 for hour in hours],
        [hour.mean or 0.0 for hour in hours],
        [hour.high or 0.0 for hour in hours],
    ]
    body = _HEADER.pack(len(hours), first) + b"".join(map(_octets, _TYPES, columns))
    return bytes((VERSION,)) + zlib.compress(body + _checksum(body), 9)


def unpack_hours(packed: bytes) -> list[Hour]:
    """The hours of one day. Raises StoreFault when they are damaged or of a later layout."""
    if not packed or packed[0] != VERSION:
        kind = packed[0] if packed else "nothing"
        raise StoreFault(f"hours of layout {kind}, where this Warmcoil knows {VERSION}")
    try:
        first, columns = _columns(zlib.decompress(packed[1:]))
    except (zlib.error, struct.error, ValueError, IndexError) as fault:
        raise StoreFault(f"damaged hours: {fault}") from fault
    return [
        Hour(first + after, usable, *counts, *(values if usable else _UNKNOWN))
        for after, usable, *counts, values in zip(
            *columns[:4], zip(*columns[4:], strict=True), strict=True
        )
    ]


def _columns(whole: bytes) -> tuple[int, list[array[Any]]]:
    """The first hour's number, and the columns. Raises ValueError, struct.error."""
    body = whole[:-4]
    if whole[-4:] != _checksum(body):
        raise ValueError("their checksum does not fit")
    count, first = _HEADER.unpack_from(body)
    columns, at = [], _HEADER.size
    for kind in _TYPES:
        column = array(kind)
        column.frombytes(body[at : at + count * column.itemsize])
        at += count * column.itemsize
        if _BIG_ENDIAN:
            column.byteswap()
        columns.append(column)
    if at != len(body) or not count:
        raise ValueError("they are not as many as they should be")
    return first, columns


class _Line:
    """The usable readings of a day, joined where they are near enough."""

    def __init__(self, at_ms: array[int], values: array[float], gap_ms: float) -> None:
        self._at_ms = at_ms
        self._values = values
        self._gap_ms = gap_ms

    def hour(self, number: int, count: int) -> Hour:
        """An hour that has `count` readings, usable or not."""
        start_ms, end_ms = number * HOUR_MS, (number + 1) * HOUR_MS
        first = bisect_left(self._at_ms, start_ms)
        end = bisect_left(self._at_ms, end_ms, lo=first)
        at_ms, values = self._at_ms[first:end], self._values[first:end]
        if not at_ms:
            return Hour(number, 0, count, 0, None, None, None)
        low, high, usable = min(values), max(values), len(values)
        steps = list(map(sub, at_ms[1:], at_ms))
        if max(steps, default=0) > self._gap_ms:
            steps = [step if step <= self._gap_ms else 0 for step in steps]
        edges = [self._edge(first - 1, start_ms, first), self._edge(end - 1, end_ms, end - 1)]
        known_ms = sum(steps) + sum(length_ms for length_ms, _ in edges)
        if known_ms:
            within = map(mul, steps, map(add, values[1:], values))
            mean = fsum(chain(within, (twice for _, twice in edges))) / (2 * known_ms)
        else:
            mean = fsum(values) / usable
        mean = min(max(mean, low), high)
        return Hour(number, usable, count - usable, known_ms, low, mean, high)

    def _edge(self, before: int, edge_ms: int, own: int) -> tuple[int, float]:
        """How long the line from the reading `before` to the next one is between the edge of an
        hour and `own`, which is that one of the two that is in the hour; and twice the area there.
        """
        if before < 0 or before + 1 >= len(self._at_ms):
            return 0, 0.0
        a_ms, b_ms = self._at_ms[before : before + 2]
        a, b = self._values[before : before + 2]
        if b_ms - a_ms > self._gap_ms:
            return 0, 0.0
        at_edge = a + (b - a) * ((edge_ms - a_ms) / (b_ms - a_ms))
        length_ms = abs(edge_ms - self._at_ms[own])
        return length_ms, length_ms * (at_edge + self._values[own])


def _together(one: Hour, other: Hour) -> Hour:
    more = max(one, other, key=_weight)
    lows = [hour.low for hour in (one, other) if hour.low is not None]
    highs = [hour.high for hour in (one, other) if hour.high is not None]
    return more._replace(low=min(lows, default=None), high=max(highs, default=None))


def _weight(hour: Hour) -> tuple[float, ...]:
    """By which one of two sets stands. Equal weights: the same in all but the extremes."""
    return hour.readings, hour.flagged, hour.known_ms, hour.mean or 0.0


def _octets(kind: str, values: Sequence[Any]) -> bytes:
    column = array(kind, values)
    if _BIG_ENDIAN:
        column.byteswap()
    return column.tobytes()


def _checksum(body: bytes) -> bytes:
    return zlib.crc32(body).to_bytes(4, "little")
