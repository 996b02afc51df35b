"""Calibration: an offset, or two points."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from collector.calibration import Calibration, from_points
from collector.readings import AS_READ, Quantity, SeriesKey
from config.settings import Probe, TwoPoint

_C = st.floats(-55, 125)


@given(st.tuples(_C, _C), st.tuples(_C, _C))
def test_two_points_are_met(read: tuple[float, float], true: tuple[float, float]) -> None:
    assume(abs(read[0] - read[1]) > 0.5 and true[0] != true[1])
    correction = from_points(TwoPoint(read=read, true=true))
    assert correction.apply(read[0]) == pytest.approx(true[0], abs=1e-9)
    assert correction.apply(read[1]) == pytest.approx(true[1], abs=1e-9)


def test_ice_water_and_body_warmth_by_hand() -> None:
    # Ice point 0.00 °C (ASTM E563); read 0.2 → 0.0 and 37.4 → 37.0: 18.8 lies in the middle.
    correction = from_points(TwoPoint(read=(0.2, 37.4), true=(0.0, 37.0)))
    assert correction.gain == pytest.approx(37.0 / 37.2, abs=1e-12)
    assert correction.apply(18.8) == pytest.approx(18.5, abs=1e-12)


def test_each_quantity_has_its_own() -> None:
    calibration = Calibration(
        [
            Probe(id="a", temperature_offset_c=-0.3),
            Probe(id="b", humidity_two_point_pct=TwoPoint(read=(30, 80), true=(33, 75))),
        ]
    )
    assert calibration.of(SeriesKey("a", Quantity.TEMPERATURE)).apply(30.0) == 29.7
    assert calibration.of(SeriesKey("a", Quantity.HUMIDITY)) == AS_READ
    assert calibration.of(SeriesKey("b", Quantity.HUMIDITY)).apply(55) == pytest.approx(54)
    assert calibration.of(SeriesKey("c", Quantity.VOLTAGE)) == AS_READ
