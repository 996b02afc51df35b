"""Columns against plain lists of readings."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.readings import AS_READ, Correction, Reading
from collector.store.columns import DAY_MS, Columns, in_order, runs_of
from tests.collector.store.series import WARM, columns, corrections, few_days, int64, readings

short = columns(few_days)


def rows(one: Columns) -> list[Reading]:
    return list(one.readings(WARM))


def firsts(given_readings: list[Reading]) -> dict[tuple[object, int], Reading]:
    kept: dict[tuple[object, int], Reading] = {}
    for reading in given_readings:
        kept.setdefault((reading.key, reading.at_ms), reading)
    return kept


@given(st.lists(readings(st.integers(0, 40)), max_size=60))
def test_readings_in_any_order_become_columns_and_the_first_of_a_time_stays(
    some: list[Reading],
) -> None:
    by_series = Columns.of(some)
    back = [one for key, cols in by_series.items() for one in cols.readings(key)]
    assert {(one.key, one.at_ms): one for one in back} == firsts(some)
    assert len(back) == len(firsts(some))
    assert all(in_order(cols.at_ms) for cols in by_series.values())


@given(columns(st.integers(0, 80)), columns(st.integers(0, 80)))
def test_a_merge_is_the_union_and_the_own_reading_stays(one: Columns, other: Columns) -> None:
    merged = rows(one.merged(other))
    kept = firsts(rows(one) + rows(other))
    assert merged == sorted(kept.values(), key=lambda reading: reading.at_ms)


@given(columns(st.integers(0, 80)), columns(st.integers(0, 80)))
def test_what_differs_is_counted_by_corrected_value(one: Columns, other: Columns) -> None:
    mine = {reading.at_ms: reading.value for reading in rows(one)}
    differing = [r for r in rows(other) if r.at_ms in mine and mine[r.at_ms] != r.value]
    assert one.differing(other) == len(differing)
    assert rows(other.without(one)) == [r for r in rows(other) if r.at_ms not in mine]


@given(short, few_days, few_days)
def test_a_window_has_its_start_and_not_its_end(one: Columns, start: int, end: int) -> None:
    assert rows(one.cut(start, end)) == [r for r in rows(one) if start <= r.at_ms < end]


@given(columns(int64))
def test_days_are_utc_days_and_lose_nothing(one: Columns) -> None:
    days = list(one.days())
    assert [day for day, _ in days] == sorted({at // DAY_MS for at in one.at_ms})
    assert all(at // DAY_MS == day for day, part in days for at in part.at_ms)
    assert Columns.joined(part for _, part in days) == one


@given(short)
def test_values_are_those_of_the_readings(one: Columns) -> None:
    assert list(one.values()) == [reading.value for reading in rows(one)]


@given(st.lists(corrections, max_size=30))
def test_runs_tell_the_correction_of_every_reading(each: list[Correction]) -> None:
    one = Columns.ordered(range(len(each)), [1.0] * len(each), corrections=each)
    assert list(one.each_correction()) == each
    assert one.corrections == runs_of(each)
    assert (one.corrections == []) == all(correction == AS_READ for correction in each)


def test_nothing_is_false_and_merges_to_the_other() -> None:
    one = Columns.ordered([3, 1, 2], [3.0, 1.0, 2.0])
    assert not Columns()
    assert list(one.at_ms) == [1, 2, 3]
    assert list(one.raw) == [1.0, 2.0, 3.0]
    assert Columns().merged(one) == one == one.merged(Columns())
    assert list(Columns().days()) == []
