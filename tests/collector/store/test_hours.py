"""Hours against a reckoning reading by reading, and the laws of their merging."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.store.columns import Columns
from collector.store.hours import (
    HOUR_MS,
    Hour,
    count_of,
    hours_of,
    merged,
    pack_hours,
    unpack_hours,
)
from config.errors import StoreFault
from tests.collector.store.series import (
    DAY_0_MS,
    WARM,
    believable,
    columns,
    fahrenheit,
    on_a_grid,
)

GAP_MS = 900_000.0

close_by = st.integers(DAY_0_MS + HOUR_MS, DAY_0_MS + 3 * HOUR_MS)
one_day = st.integers(DAY_0_MS, DAY_0_MS + 24 * HOUR_MS - 1)


@st.composite
def an_hour(draw: st.DrawFn, number: int) -> Hour:
    readings, flagged = draw(st.tuples(st.integers(0, 3), st.integers(0, 2)))
    if not readings:
        return Hour(number, 0, flagged + 1, 0, None, None, None)
    low, mean, high = sorted(draw(st.tuples(on_a_grid, fahrenheit, on_a_grid)))
    return Hour(number, readings, flagged, draw(st.sampled_from([0, 60_000])), low, mean, high)


hours = st.sets(st.integers(480_000, 480_023), max_size=24).flatmap(
    lambda numbers: st.tuples(*(an_hour(number) for number in sorted(numbers))).map(list)
)


def by_hand(some: Columns, gap_ms: float) -> list[Hour]:
    """From readings one by one, in fractions."""
    found = []
    readings = list(some.readings(WARM))
    line = [one for one in readings if one.usable and abs(one.value) <= 1e9]
    joined = [(a, b) for a, b in pairwise(line) if b.at_ms - a.at_ms <= gap_ms]
    for number in sorted({one.at_ms // HOUR_MS for one in readings}):
        count = sum(one.at_ms // HOUR_MS == number for one in readings)
        used = [Fraction(one.value) for one in line if one.at_ms // HOUR_MS == number]
        low = mean = high = None
        known_ms = 0
        if used:
            area = Fraction()
            for a, b in joined:
                from_ms = max(a.at_ms, number * HOUR_MS)
                to_ms = min(b.at_ms, (number + 1) * HOUR_MS)
                if from_ms < to_ms:
                    slope = (Fraction(b.value) - Fraction(a.value)) / (b.at_ms - a.at_ms)
                    middle = Fraction(from_ms + to_ms, 2) - a.at_ms
                    area += (to_ms - from_ms) * (Fraction(a.value) + slope * middle)
                    known_ms += to_ms - from_ms
            mean_of = area / known_ms if known_ms else sum(used) / len(used)
            mean = float(min(max(mean_of, min(used)), max(used)))
            low, high = float(min(used)), float(max(used))
        found.append(Hour(number, len(used), count - len(used), known_ms, low, mean, high))
    return found


def close(some: Sequence[Hour]) -> list[tuple[object, ...]]:
    """The mean to what doubles can tell; all else exactly."""
    return [
        (*one[:5], None if one.mean is None else pytest.approx(one.mean, abs=1e-6), one.high)
        for one in some
    ]


@given(columns(st.one_of(one_day, close_by)))
@settings(max_examples=80, deadline=None)
def test_hours_are_what_a_reckoning_by_hand_gives(some: Columns) -> None:
    found = hours_of(some, GAP_MS)
    assert found == close(by_hand(some, GAP_MS))
    assert count_of(found) == len(some)
    for one in found:
        if one.low is not None and one.mean is not None and one.high is not None:
            assert one.low <= one.mean <= one.high


def test_the_mean_is_weighted_by_time() -> None:
    """Ten minutes at 30, then readings each second at 20: most of the known time was at 30."""
    at_ms = [0, 600_000, *range(601_000, 661_000, 1000)]
    (one,) = hours_of(Columns.ordered(at_ms, [30.0, 30.0] + [20.0] * 60), GAP_MS)
    assert one.known_ms == 660_000
    assert one.mean == pytest.approx((600 * 30 + 25 + 59 * 20) / 660)


@given(columns(one_day))
@settings(max_examples=40, deadline=None)
def test_what_is_packed_comes_back(some: Columns) -> None:
    found = hours_of(some, GAP_MS)
    assert unpack_hours(pack_hours(found)) == found


def test_a_day_without_gaps_is_known_but_for_its_last_step() -> None:
    found = hours_of(believable(288, every_ms=300_000), GAP_MS)
    assert [one.known_ms for one in found] == [HOUR_MS] * 23 + [HOUR_MS - 300_000]


def test_a_day_is_small() -> None:
    packed = pack_hours(hours_of(believable(8640, jitter_ms=100), GAP_MS))
    assert len(packed) < 450


def test_a_flipped_bit_is_noticed_or_changes_nothing() -> None:
    hours = hours_of(believable(140, every_ms=600_000), GAP_MS)
    packed, unnoticed = pack_hours(hours), 0
    for bit in range(8 * len(packed)):
        spoilt = bytearray(packed)
        spoilt[bit // 8] ^= 1 << bit % 8
        try:
            assert unpack_hours(bytes(spoilt)) == hours
            unnoticed += 1
        except StoreFault:
            pass
    assert unnoticed < len(packed) // 10, "a few bits mean nothing to what inflates them"
    with pytest.raises(StoreFault):
        unpack_hours(b"")
    short = packed[:1] + zlib.compress(b"\x02")
    with pytest.raises(StoreFault):
        unpack_hours(short)


@given(hours, hours, hours)
@settings(max_examples=50, deadline=None)
def test_merging_again_or_in_another_order_changes_nothing(
    one: list[Hour], other: list[Hour], third: list[Hour]
) -> None:
    assert merged(one, one) == one
    assert merged(one, other) == merged(other, one)
    assert merged(merged(one, other), third) == merged(one, merged(other, third))
    both = merged(one, other)
    assert merged(both, one) == both
    assert {hour.number for hour in both} == {hour.number for hour in one + other}


@given(columns(one_day))
@settings(max_examples=40, deadline=None)
def test_a_part_that_comes_again_adds_nothing(some: Columns) -> None:
    whole = hours_of(some, GAP_MS)
    part = hours_of(some.slice(0, len(some) // 2), GAP_MS)
    assert merged(whole, part) == merged(part, whole) == whole
