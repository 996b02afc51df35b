"""The value of a zone: by hand, and against the definition."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch.zone_value import Placed, zone_points
from collector.book.records import Placement, Zone
from collector.readings import Correction, Flag, Quantity, Reading
from collector.store.columns import Columns

GAP = 15
Rows = list[tuple[int, float, Flag]]


def placed(rows: Rows, since: int = 0, until: int | None = None, probe: str = "a") -> Placed:
    readings = [
        Reading(probe, Quantity.TEMPERATURE, at, value, flags=flag) for at, value, flag in rows
    ]
    columns = Columns.of(readings)
    (one,) = columns.values() if columns else (Columns(),)
    return Placed(Placement(probe, "Larch", Zone.WARM_SIDE, since, until), one)


def ok(*rows: tuple[int, float]) -> Rows:
    return [(at, value, Flag.NONE) for at, value in rows]


def test_two_probes_are_averaged_while_both_are_fresh() -> None:
    a = placed(ok((0, 30.0), (10, 31.0), (20, 32.0), (30, 33.0)))
    b = placed(ok((4, 26.0), (10, 27.0)), probe="b")
    assert zone_points([a, b], GAP, -1) == [
        (0, 30.0),
        (4, 28.0),
        (10, 29.0),
        (20, 29.5),  # b's reading is 10 old
        (30, 33.0),  # b has been silent for longer than the gap
    ]


def test_a_reading_as_old_as_the_gap_still_counts() -> None:
    a, b = placed(ok((15, 30.0))), placed(ok((0, 20.0)), probe="b")
    assert zone_points([a, b], GAP, 0) == [(15, 25.0)]


def test_doubted_readings_have_no_say() -> None:
    a = placed([(0, 30.0, Flag.NONE), (5, 85.0, Flag.POWER_ON), (6, 30.5, Flag.NONE)])
    assert zone_points([a], GAP, -1) == [(0, 30.0), (6, 30.5)]


def test_only_the_placement_counts() -> None:
    a = placed(ok((0, 20.0), (10, 30.0), (19, 31.0), (20, 40.0)), since=5, until=20)
    b = placed(ok((25, 33.0)), since=20, probe="b")
    assert zone_points([a, b], GAP, -1) == [(10, 30.0), (19, 31.0), (25, 33.0)]


def test_values_are_the_corrected_ones() -> None:
    reading = Reading("a", Quantity.TEMPERATURE, 0, 30.0, Correction(1.0, -0.5))
    (columns,) = Columns.of([reading]).values()
    placement = Placement("a", "Larch", Zone.WARM_SIDE, 0)
    assert zone_points([Placed(placement, columns)], GAP, -1) == [(0, 29.5)]


_ROWS = st.lists(
    st.tuples(
        st.integers(0, 80),
        st.sampled_from([20.0, 25.0, 28.0, 31.0]),
        st.sampled_from([Flag.NONE, Flag.NONE, Flag.NONE, Flag.JUMP]),
    ),
    max_size=25,
    unique_by=lambda row: row[0],
)


@given(st.lists(_ROWS, max_size=3), st.integers(-1, 80))
def test_as_defined(probes: list[Rows], after: int) -> None:
    usable = [[(at, v) for at, v, flag in rows if not flag] for rows in probes]
    expected = []
    for now in sorted({at for rows in usable for at, _ in rows}):
        latest = [max((r for r in rows if r[0] <= now), default=None) for rows in usable]
        fresh = [one[1] for one in latest if one is not None and now - one[0] <= GAP]
        expected.append((now, sum(fresh) / len(fresh)))
    found = zone_points([placed(r, probe=str(i)) for i, r in enumerate(probes)], GAP, after)
    wanted = [p for p in expected if p[0] > after]
    assert [at for at, _ in found] == [at for at, _ in wanted]
    assert [v for _, v in found] == pytest.approx([v for _, v in wanted])
