"""One row of the journal: the readings of a commit and its receipts, packed small.

    layout (1 byte), CRC-32 of the rest (4 bytes)
    readings: their count, then for each
        series number, time since the reading before in ms, place of its grid, its integer there
    receipts: the sources by name, then for each its source, message id and digest

Numbers are varints: seven bits a byte, lowest first, the top bit set on all but the last; signed
ones zigzagged. A value on none of the grids is its eight bytes. Flags follow where there are any.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import copysign, isfinite
from typing import NamedTuple

from collector.store.codec import GRIDS
from config.errors import StoreFault

LAYOUT = 1
_HEADER = struct.Struct("<BI")
_DOUBLE = 15
_FLAGGED = 16
_EXACT = 2**53


@dataclass(frozen=True, slots=True)
class Receipt:
    """A message without a time of its own that was taken: by it, a redelivery is recognised."""

    source: str
    mid: int
    digest: bytes


class Row(NamedTuple):
    """One reading of a series that the journal has numbered."""

    series: int
    at_ms: int
    raw: float
    flags: int


def pack_entry(rows: Sequence[Row], receipts: Sequence[Receipt]) -> bytes:
    """One row's bytes. Raises ValueError for NaN or infinity."""
    out = bytearray()
    _put(out, len(rows))
    before_ms = 0
    for row in rows:
        _put(out, row.series)
        _put_signed(out, row.at_ms - before_ms)
        _put_value(out, row)
        before_ms = row.at_ms
    _put_receipts(out, receipts)
    return _HEADER.pack(LAYOUT, zlib.crc32(out)) + out


def unpack_entry(packed: bytes) -> tuple[list[Row], list[Receipt]]:
    """Its readings and receipts. Raises StoreFault when it is damaged or of a later layout."""
    try:
        layout, crc32 = _HEADER.unpack_from(packed)
        fits = crc32 == zlib.crc32(packed[_HEADER.size :])
    except (struct.error, TypeError):
        # Too short; or no bytes at all: a damaged page can make anything of a column.
        layout, fits = LAYOUT, False
    if layout != LAYOUT:
        raise StoreFault(f"an entry of layout {layout}, where this Warmcoil knows {LAYOUT}")
    if not fits:
        raise StoreFault("a damaged entry: its checksum does not fit")
    take = _Take(packed, _HEADER.size)
    try:
        rows = list(_rows(take))
        receipts = list(_receipts(take))
    except (IndexError, OverflowError, struct.error, UnicodeDecodeError) as fault:
        raise StoreFault(f"a damaged entry: {fault}") from fault
    if take.at != len(packed):
        raise StoreFault("a damaged entry: something follows its end")
    return rows, receipts


class _Take:
    """Reads on from a place in the bytes."""

    def __init__(self, packed: bytes, at: int) -> None:
        self._packed = packed
        self.at = at

    def number(self) -> int:
        value = shift = 0
        while True:
            byte = self._packed[self.at]
            self.at += 1
            value |= (byte & 0x7F) << shift
            if byte < 0x80:
                return value
            shift += 7

    def signed(self) -> int:
        zigzagged = self.number()
        return (zigzagged >> 1) ^ -(zigzagged & 1)

    def double(self) -> float:
        self.at += 8
        (value,) = struct.unpack_from("<d", self._packed, self.at - 8)
        return float(value)

    def octets(self) -> bytes:
        size = self.number()
        self.at += size
        if self.at > len(self._packed):
            raise IndexError("it ends too early")
        return self._packed[self.at - size : self.at]


def _rows(take: _Take) -> Iterable[Row]:
    at_ms = 0
    for _ in range(take.number()):
        series = take.number()
        at_ms += take.signed()
        how = take.number()
        place = how & 0x0F
        raw = take.double() if place == _DOUBLE else take.signed() / GRIDS[place]
        yield Row(series, at_ms, raw, take.number() if how & _FLAGGED else 0)


def _receipts(take: _Take) -> Iterable[Receipt]:
    sources = [take.octets().decode() for _ in range(take.number())]
    for _ in range(take.number() if sources else 0):
        yield Receipt(sources[take.number()], take.number(), take.octets())


def _put(out: bytearray, number: int) -> None:
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)


def _put_signed(out: bytearray, number: int) -> None:
    _put(out, number << 1 if number >= 0 else ~(number << 1))


def _put_value(out: bytearray, row: Row) -> None:
    flagged = _FLAGGED if row.flags else 0
    place = _place(row.raw)
    _put(out, place | flagged)
    if place == _DOUBLE:
        out += struct.pack("<d", row.raw)
    else:
        _put_signed(out, round(row.raw * GRIDS[place]))
    if flagged:
        _put(out, row.flags)


def _place(raw: float) -> int:
    """The coarsest grid on which a value lies exactly."""
    if not isfinite(raw):
        raise ValueError("a reading has a finite value")
    if raw == 0.0 and copysign(1.0, raw) < 0:
        return _DOUBLE
    for place, scale in enumerate(GRIDS):
        if abs(raw) * scale < _EXACT and round(raw * scale) / scale == raw:
            return place
    return _DOUBLE


def _put_receipts(out: bytearray, receipts: Sequence[Receipt]) -> None:
    sources = list(dict.fromkeys(receipt.source for receipt in receipts))
    _put(out, len(sources))
    for source in sources:
        _put_octets(out, source.encode())
    if sources:
        _put(out, len(receipts))
    for receipt in receipts:
        _put(out, sources.index(receipt.source))
        _put(out, receipt.mid)
        _put_octets(out, receipt.digest)


def _put_octets(out: bytearray, octets: bytes) -> None:
    _put(out, len(octets))
    out += octets
