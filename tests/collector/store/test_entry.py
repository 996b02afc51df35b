"""Rows of the journal: exact, small, and never quietly wrong."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.store.entry import Receipt, Row, pack_entry, unpack_entry
from config.errors import StoreFault
from tests.collector.store.series import flags, int64, values

rows = st.builds(Row, st.integers(1, 10_000), int64, values, flags)
receipts = st.builds(
    Receipt, st.sampled_from(["mqtt", "mqtt2", "ü"]), st.integers(0, 65_535), st.binary(max_size=40)
)


@given(st.lists(rows, max_size=30), st.lists(receipts, max_size=10))
def test_any_row_comes_back_to_the_last_bit(some: list[Row], owed: list[Receipt]) -> None:
    back, back_owed = unpack_entry(pack_entry(some, owed))
    assert back == some
    assert [math.copysign(1, row.raw) for row in back] == [math.copysign(1, r.raw) for r in some]
    assert back_owed == owed


def test_a_commit_of_sixteen_probes_is_small() -> None:
    # 7 bytes a reading: our own aim, so that four commits or so fit on a page of 512 bytes.
    commit = [Row(n, 1_700_000_000_000 + 37 * n, 31.0625 - n / 16, 0) for n in range(1, 17)]
    assert len(pack_entry(commit, ())) <= 16 * 7


def test_every_flipped_bit_and_every_truncation_is_noticed() -> None:
    packed = pack_entry([Row(1, 5, 20.5, 0), Row(2, 6, 1 / 3, 8)], [Receipt("mqtt", 7, b"abc")])
    for place in range(len(packed)):
        with pytest.raises(StoreFault):
            unpack_entry(packed[:place])
        for bit in range(8):
            broken = bytearray(packed)
            broken[place] ^= 1 << bit
            with pytest.raises(StoreFault):
                unpack_entry(bytes(broken))


@given(st.binary(max_size=100))
def test_noise_is_refused(noise: bytes) -> None:
    with pytest.raises(StoreFault):
        unpack_entry(noise)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        pack_entry([Row(1, 0, value, 0)], ())
