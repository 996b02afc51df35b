"""The layout of a packed block: a version byte, then, deflated, a header and byte planes.

    header    count, first and last time, shortest step, and how the values are written
    times     count − 1 steps over the shortest one
    table     the distinct values, where the values are numbered
    values    count − 1 zigzagged differences of integers, or count doubles
    flags     one byte a reading, only when some reading is doubted
    runs      (index, gain, offset) for every run of one correction

Integers wider than a byte are written in planes: all lowest bytes, then all next ones, and so on;
equal bytes then stand together, which is what deflate needs (RFC 1951). Everything is
little-endian. The CRC-32 of what was deflated ends the block: the Adler-32 of a zlib stream is too
weak for so many small numbers, a flipped bit got past it in a test. What the planes mean is in
`codec` (pure Python) and in `analysis.frames` (numpy).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

from collector.readings import Correction
from config.errors import StoreFault

VERSION = 1
_HEADER = struct.Struct("<IqqQBBIqBBI")
_RUN = struct.Struct("<Idd")
_WIDTHS = (1, 2, 4, 8)


class Values(IntEnum):
    """How a block's values are written."""

    GRID = 0
    """Integers; a value is its integer divided by `scale`."""
    NUMBERED = 1
    """Integers; a value stands at its integer in a table of the `scale` distinct values."""
    DOUBLES = 2
    """As they are: IEEE 754 doubles."""


@dataclass(slots=True)
class Block:
    """A block taken apart, nothing of it decoded yet. See the layout above.

    `width` and `start` (the first integer) are 0 for DOUBLES.
    """

    count: int
    first_ms: int
    last_ms: int
    step_ms: int
    time_width: int
    kind: Values
    scale: int
    start: int
    width: int
    times: bytes
    table: bytes
    values: bytes
    flags: bytes
    runs: list[tuple[int, Correction]]

    def to_bytes(self) -> bytes:
        """The packed block."""
        header = _HEADER.pack(
            self.count, self.first_ms, self.last_ms, self.step_ms, self.time_width,
            self.kind, self.scale, self.start, self.width, bool(self.flags), len(self.runs),
        )  # fmt: skip
        runs = b"".join(_RUN.pack(index, one.gain, one.offset) for index, one in self.runs)
        sections = (header, self.times, self.table, self.values, self.flags, runs)
        return bytes((VERSION,)) + _deflated(sections)


def open_block(packed: bytes) -> Block:
    """Take a packed block apart. Raises StoreFault when it is damaged or of a later layout."""
    if not packed or packed[0] != VERSION:
        kind = packed[0] if packed else "nothing"
        raise StoreFault(f"a block of layout {kind}, where this Warmcoil knows {VERSION}")
    try:
        return _parted(_inflated(packed[1:]))
    except (zlib.error, struct.error, ValueError, OverflowError) as fault:
        raise StoreFault(f"a damaged block: {fault}") from fault


def _deflated(sections: Sequence[bytes]) -> bytes:
    # A deflate block of its own for every section (Z_BLOCK), so that each has its own code
    # lengths; Z_FILTERED suits small differences.
    packer = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS, 9, zlib.Z_FILTERED)
    pieces = []
    for section in sections:
        if section:
            pieces += [packer.compress(section), packer.flush(zlib.Z_BLOCK)]
    return b"".join([*pieces, packer.flush(), _checksum(b"".join(sections))])


def _inflated(packed: bytes) -> bytes:
    unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
    body = unpacker.decompress(packed)
    if not unpacker.eof or unpacker.unused_data != _checksum(body):
        raise ValueError("its checksum does not fit")
    return body


def _checksum(body: bytes) -> bytes:
    return zlib.crc32(body).to_bytes(4, "little")


def _parted(body: bytes) -> Block:
    (
        count, first_ms, last_ms, step_ms, time_width, kind, scale, start, width, flagged, runs,
    ) = _HEADER.unpack_from(body)  # fmt: skip
    kind = Values(kind)
    if count < 1 or step_ms < 1 or time_width not in _WIDTHS or flagged > 1:
        raise ValueError("its header makes no sense")
    if kind is Values.DOUBLES:
        table, width_bytes = 0, 8 * count
    elif width in _WIDTHS and scale >= 1:
        table = 8 * scale if kind is Values.NUMBERED else 0
        width_bytes = width * (count - 1)
    else:
        raise ValueError("its values are written in no known way")
    sizes = (time_width * (count - 1), table, width_bytes, flagged * count, runs * _RUN.size)
    times, distinct, values, flags, correction = _cut(body, _HEADER.size, sizes)
    return Block(
        count, first_ms, last_ms, step_ms, time_width, kind, scale, start, width,
        times, distinct, values, flags, list(_runs(correction, count)),
    )  # fmt: skip


def _cut(body: bytes, at: int, sizes: Sequence[int]) -> list[bytes]:
    if at + sum(sizes) != len(body):
        raise ValueError(f"{len(body)} bytes where {at + sum(sizes)} are due")
    pieces = []
    for size in sizes:
        pieces.append(body[at : at + size])
        at += size
    return pieces


def _runs(packed: bytes, count: int) -> Iterator[tuple[int, Correction]]:
    behind = 0
    for index, gain, offset in _RUN.iter_unpack(packed):
        if not behind <= index < count or (behind == 0) != (index == 0):
            raise ValueError("its corrections are out of order")
        behind = index + 1
        yield index, Correction(gain, offset)
