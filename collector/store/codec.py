"""Columns to packed blocks and back, exactly, in pure Python. `block` has the layout.

A sensor speaks in steps of its own: a DS18B20 in sixteenths of a degree, most others in
hundredths. Where all values of a block lie on such a grid they are written as integers, which
divide back to the very same doubles. Where not (Fahrenheit converted, for one), the distinct
values are numbered, if they are few enough. Else they are kept as the doubles they are.
"""

from __future__ import annotations

import sys
from array import array
from collections.abc import Iterable, Sequence
from itertools import accumulate, repeat
from math import isfinite
from operator import add, sub, truediv

from collector.store.block import Block, Values, open_block
from collector.store.columns import Columns
from config.errors import StoreFault

GRIDS = (1, 2, 4, 8, 10, 16, 32, 64, 100, 128, 256, 1000, 10_000, 100_000, 1_000_000)
"""Steps to a unit, tried from the coarsest. The journal writes the place in this tuple (4 bits)."""

_EXACT = 2**53
_SAMPLE = 24
_TYPE_OF_WIDTH = {1: "B", 2: "H", 4: "I", 8: "Q"}
_BIG_ENDIAN = sys.byteorder == "big"


def pack(columns: Columns) -> bytes:
    """One block. Raises ValueError without readings, out of order, or with NaN or infinity."""
    count = len(columns)
    if not count:
        raise ValueError("a block has at least one reading")
    if not all(map(isfinite, columns.raw)):
        raise ValueError("a reading has a finite value")
    steps = list(map(sub, columns.at_ms[1:], columns.at_ms))
    step_ms = min(steps, default=1)
    if step_ms < 1:
        raise ValueError("readings are packed in time order, no time twice")
    time_width, times = _planes(list(map(sub, steps, repeat(step_ms))))
    kind, scale, table, integers = _as_integers(columns.raw)
    if integers:
        start = integers[0]
        width, values = _planes(_zigzag(map(sub, integers[1:], integers)))
    else:
        start, width, values = 0, 0, _split(_bits_of(columns.raw), 8)
    return Block(
        count, columns.at_ms[0], columns.at_ms[-1], step_ms, time_width, kind, scale, start, width,
        times, table, values, bytes(columns.flags) if any(columns.flags) else b"",
        columns.corrections,
    ).to_bytes()  # fmt: skip


def unpack(packed: bytes) -> Columns:
    """The readings of one block. Raises StoreFault when it is damaged."""
    block = open_block(packed)
    try:
        at_ms, raw = _times(block), _raw(block)
    except (ValueError, OverflowError, IndexError) as fault:
        raise StoreFault(f"a damaged block: {fault}") from fault
    if at_ms[-1] != block.last_ms:
        raise StoreFault("a damaged block: it does not end at the time it should")
    flags = bytearray(block.flags or block.count)
    return Columns(at_ms, raw, flags, block.runs)


def _times(block: Block) -> array[int]:
    over = _joined(block.times, block.time_width)
    steps = map(add, over, repeat(block.step_ms))
    return array("q", accumulate(steps, initial=block.first_ms))


def _raw(block: Block) -> array[float]:
    if block.kind is Values.DOUBLES:
        return _doubles(_joined(block.values, 8))
    turns = [(z >> 1) ^ -(z & 1) for z in _joined(block.values, block.width)]
    integers = accumulate(turns, initial=block.start)
    if block.kind is Values.GRID:
        return array("d", map(truediv, integers, repeat(block.scale)))
    table = _doubles(_joined(block.table, 8))
    numbers = list(integers)
    if min(numbers) < 0:
        raise ValueError("a value has no place in its table")
    return array("d", map(table.__getitem__, numbers))


def _as_integers(raw: array[float]) -> tuple[Values, int, bytes, Sequence[int]]:
    """How these values are best written: kind, scale, table, and their integers if any."""
    for scale in _likely_grids(raw):
        integers = [round(value * scale) for value in raw]
        if _same(map(truediv, integers, repeat(scale)), raw):
            return Values.GRID, scale, b"", integers
    bits = _bits_of(raw)
    distinct = array("Q", sorted(set(bits)))
    if len(distinct) * 4 <= len(raw):
        number_of = {pattern: number for number, pattern in enumerate(distinct)}
        numbers = list(map(number_of.__getitem__, bits))
        return Values.NUMBERED, len(distinct), _split(distinct, 8), numbers
    return Values.DOUBLES, 0, b"", ()


def _likely_grids(raw: array[float]) -> Iterable[int]:
    """The grids on which a sample lies, coarsest first: most are ruled out by a few values."""
    highest = max(map(abs, raw))
    sample = raw[:: max(1, len(raw) // _SAMPLE)]
    for scale in GRIDS:
        if highest * scale < _EXACT and all(round(v * scale) / scale == v for v in sample):
            yield scale


def _same(values: Iterable[float], raw: array[float]) -> bool:
    # As bytes: -0.0 is not 0.0 here.
    return array("d", values).tobytes() == raw.tobytes()


def _zigzag(differences: Iterable[int]) -> list[int]:
    return [d << 1 if d >= 0 else ~(d << 1) for d in differences]


def _planes(values: list[int]) -> tuple[int, bytes]:
    highest = max(values, default=0)
    width = next(w for w in _TYPE_OF_WIDTH if highest < 1 << 8 * w)
    return width, _split(array(_TYPE_OF_WIDTH[width], values), width)


def _split(values: array[int], width: int) -> bytes:
    whole = _little_endian(values).tobytes()
    return whole if width == 1 else b"".join(whole[plane::width] for plane in range(width))


def _joined(planes: bytes, width: int) -> array[int]:
    count = len(planes) // width
    whole = bytearray(len(planes))
    for plane in range(width):
        whole[plane::width] = planes[plane * count : (plane + 1) * count]
    values = array(_TYPE_OF_WIDTH[width])
    values.frombytes(whole)
    return _little_endian(values)


def _little_endian(values: array[int]) -> array[int]:
    if _BIG_ENDIAN:
        values = values[:]
        values.byteswap()
    return values


def _bits_of(raw: array[float]) -> array[int]:
    return array("Q", raw.tobytes())


def _doubles(bits: array[int]) -> array[float]:
    return array("d", bits.tobytes())
