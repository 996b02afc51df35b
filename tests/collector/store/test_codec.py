"""Packed blocks: exact, small, and never quietly wrong."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from collector.readings import Correction
from collector.store.block import open_block
from collector.store.codec import pack, unpack
from collector.store.columns import Columns
from config.errors import StoreFault
from tests.collector.store.series import believable, columns, finite, same_bits

TINY = 5e-324  # the smallest subnormal double, IEEE 754


@given(columns())
@example(Columns.ordered([-(2**63), 2**63 - 1], [-0.0, 0.0]))
@example(Columns.ordered([0, 1, 2, 3], [TINY, -TINY, 1.7976931348623157e308, -0.0]))
@example(Columns.ordered([0, 1], [2.0**53 - 1, 2.0**53 + 2]))
def test_any_columns_come_back_to_the_last_bit(one: Columns) -> None:
    assert same_bits(unpack(pack(one)), one)


@given(st.lists(finite, min_size=1, max_size=4), st.integers(8, 60), st.randoms())
def test_few_distinct_doubles_are_numbered_and_come_back(
    table: list[float], count: int, rng: random.Random
) -> None:
    one = Columns.ordered(range(count), [rng.choice(table) for _ in range(count)])
    assert same_bits(unpack(pack(one)), one)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        pack(Columns.ordered([0, 1], [20.0, value]))


def test_nothing_and_a_time_that_comes_twice_are_refused() -> None:
    one = Columns.ordered([0, 1], [20.0, 20.0])
    one.at_ms[1] = 0
    with pytest.raises(ValueError, match="time order"):
        pack(one)
    with pytest.raises(ValueError, match="at least one"):
        pack(Columns())


def refused_or_same(packed: bytes, one: Columns) -> bool:
    try:
        return same_bits(unpack(packed), one)
    except StoreFault:
        return True


def test_no_flipped_bit_changes_a_reading() -> None:
    one = believable(200, jitter_ms=100)
    one.flags[7] = 4
    one.corrections = [(0, Correction(1.0, 0.5))]
    packed = pack(one)
    # A few bits of a deflate stream mean nothing (RFC 1951 pads to whole bytes); the checksum that
    # the archive keeps beside a block notices those as well.
    for place in range(len(packed)):
        for bit in range(8):
            broken = bytearray(packed)
            broken[place] ^= 1 << bit
            assert refused_or_same(bytes(broken), one)


def test_every_truncation_and_anything_behind_is_noticed() -> None:
    packed = pack(believable(50))
    for length in range(len(packed)):
        with pytest.raises(StoreFault):
            unpack(packed[:length])
    with pytest.raises(StoreFault):
        unpack(packed + b"\0")


@given(st.binary(max_size=200))
def test_noise_is_refused(noise: bytes) -> None:
    with pytest.raises(StoreFault):
        unpack(noise)
    with pytest.raises(StoreFault):
        unpack(b"\x01" + noise)


def test_a_block_of_a_later_layout_is_refused_by_name() -> None:
    packed = b"\x02" + pack(believable(5))[1:]
    with pytest.raises(StoreFault, match="layout 2, where this Warmcoil knows 1"):
        open_block(packed)


@pytest.mark.parametrize(
    ("grid", "jitter_ms", "most_bytes"),
    # Our own aims, in bytes a reading over a day of one reading every 10 s.
    [(16, 0, 0.7), (100, 0, 0.7), (16, 100, 1.5), (100, 100, 1.5)],
)
def test_a_day_is_packed_small(grid: int, jitter_ms: int, most_bytes: float) -> None:
    day = believable(8640, grid=grid, jitter_ms=jitter_ms)
    assert len(pack(day)) / len(day) <= most_bytes


def test_a_day_in_converted_fahrenheit_is_packed_small_too() -> None:
    day = believable(8640)
    tenths = [round(celsius * 18 + 320) for celsius in day.raw]
    fahrenheit = Columns.ordered(day.at_ms, [(tenth / 10 - 32) / 1.8 for tenth in tenths])
    packed = pack(fahrenheit)
    assert len(packed) / len(day) <= 0.7
    assert same_bits(unpack(packed), fahrenheit)
