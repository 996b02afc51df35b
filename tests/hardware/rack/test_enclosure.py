"""The physics of an enclosure against the laws it is built on."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.rack.enclosure import Enclosure, EnclosureBuild
from hardware.rack.faults import FOREVER_MS, EnclosureState, Heater
from hardware.rack.room import Room, saturation_hpa

AT_MS = 1_700_000_000_000


def state(
    heater: Heater = Heater.THERMOSTAT, *, powered: bool = True, door_open: bool = False
) -> EnclosureState:
    return EnclosureState(FOREVER_MS, powered, heater, door_open, misting=False, drifts=())


def run(enclosure: Enclosure, seconds: float, room_c: float, what: EnclosureState) -> list[float]:
    """Warm side after each minute."""
    trail = []
    for minute in range(int(seconds // 60)):
        enclosure.step(60.0, AT_MS + minute * 60_000, room_c, what)
        trail.append(enclosure.warm_c)
    rest = seconds % 60
    if rest:
        enclosure.step(rest, AT_MS, room_c, what)
    return [*trail, enclosure.warm_c]


@given(
    tau_s=st.floats(1_800, 20_000),
    room_c=st.floats(5, 30),
    start_c=st.floats(20, 40),
    seconds=st.floats(60, 90_000),
)
def test_without_heat_the_warm_side_falls_exponentially(
    tau_s: float, room_c: float, start_c: float, seconds: float
) -> None:
    # Newton's law of cooling: T_room + (T0 − T_room) e^(−t/τ).
    enclosure = Enclosure(EnclosureBuild("tub", warm_tau_s=tau_s), room_c)
    enclosure.warm_c = start_c
    run(enclosure, seconds, room_c, state(Heater.OFF))
    expected = room_c + (start_c - room_c) * math.exp(-seconds / tau_s)
    assert enclosure.warm_c == pytest.approx(expected, abs=1e-7)


def test_time_to_fall_from_31_to_28_in_a_22_degree_room() -> None:
    # t* = τ ln((T0 − Ta) / (B − Ta)) with τ 2.5 h: 1.013663 h (worked by hand from Newton's law).
    enclosure = Enclosure(EnclosureBuild("tub", warm_tau_s=2.5 * 3600), 22.0)
    enclosure.warm_c = 31.0
    run(enclosure, 1.013663 * 3600, 22.0, state(Heater.OFF))
    assert enclosure.warm_c == pytest.approx(28.0, abs=2e-6)


@given(
    setpoint_c=st.floats(28, 34),
    hysteresis_k=st.floats(0.2, 2.0),
    room_c=st.floats(14, 24),
    tau_s=st.floats(4_000, 15_000),
)
def test_the_thermostat_keeps_its_band(
    setpoint_c: float, hysteresis_k: float, room_c: float, tau_s: float
) -> None:
    build = EnclosureBuild(
        "tub", setpoint_c=setpoint_c, hysteresis_k=hysteresis_k, heat_k=25.0, warm_tau_s=tau_s
    )
    trail = run(Enclosure(build, room_c), 12 * 3600, room_c, state())
    # It decides once a minute: it can be over by what the fastest minute brings.
    fastest = 25.0 * 60 / tau_s
    assert min(trail) >= setpoint_c - hysteresis_k / 2 - fastest
    assert max(trail) <= setpoint_c + hysteresis_k / 2 + fastest
    assert max(trail) - min(trail) > hysteresis_k / 2  # it does switch


def test_an_open_door_cools_faster_and_a_power_cut_like_a_dead_heater() -> None:
    def warm_after_an_hour(what: EnclosureState) -> float:
        return run(Enclosure(EnclosureBuild("tub"), 20.0), 3600, 20.0, what)[-1]

    dead = warm_after_an_hour(state(Heater.OFF))
    assert warm_after_an_hour(state(powered=False)) == dead
    assert warm_after_an_hour(state(Heater.OFF, door_open=True)) < dead < 31.2
    # The heater still heats with the door open, against a larger loss.
    assert warm_after_an_hour(state(door_open=True)) > warm_after_an_hour(
        state(Heater.OFF, door_open=True)
    )


def test_a_stuck_relay_overheats_towards_room_plus_heater() -> None:
    build = EnclosureBuild("tub", heat_k=18.0, warm_tau_s=7_200)
    end_c = run(Enclosure(build, 20.0), 48 * 3600, 20.0, state(Heater.STUCK_ON))[-1]
    assert end_c == pytest.approx(38.0, abs=0.01)


def test_the_cool_side_settles_at_its_share() -> None:
    build = EnclosureBuild("tub", cool_share=0.5, heat_k=20.0)
    enclosure = Enclosure(build, 20.0)
    run(enclosure, 72 * 3600, 20.0, state(Heater.STUCK_ON))
    assert enclosure.cool_c == pytest.approx(30.0, abs=0.01)
    assert enclosure.air_c(0.5) == pytest.approx(35.0, abs=0.01)


def test_saturation_against_a_table() -> None:
    # ASHRAE 2017 Handbook of Fundamentals, ch. 1, table 3: 3169.7 Pa at 25 °C; the WMO-No. 8
    # formula is within 0.35 % of the reference there.
    assert saturation_hpa(25.0) * 100 == pytest.approx(3169.7, rel=0.0035)


def test_the_warm_side_is_drier_than_the_cool_side() -> None:
    enclosure = Enclosure(EnclosureBuild("tub"), 20.0)
    assert enclosure.humidity_pct(1.0, 12.0) < enclosure.humidity_pct(0.0, 12.0) <= 100.0


def test_a_room_is_a_pure_function_of_seed_and_time() -> None:
    one, same, other = Room(3), Room(3), Room(4)
    times = [AT_MS + k * 7_777_777 for k in range(500)]
    assert [one.temperature_c(t) for t in times] == [same.temperature_c(t) for t in times]
    assert [one.temperature_c(t) for t in times] != [other.temperature_c(t) for t in times]
    # Season, day and weather at their worst together; nothing else may add to it.
    assert all(abs(one.temperature_c(t) - 19.6) < 1.4 + 0.9 + 0.7 * math.sqrt(5) for t in times)
