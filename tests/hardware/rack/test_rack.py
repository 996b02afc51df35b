"""A whole rack: the same from the same seed, and its faults seen by the right probes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.readings import Quantity
from hardware.rack.faults import (
    DoorOpen,
    Fallen,
    Heater,
    HeaterFault,
    PowerCut,
    Script,
    ThermostatDrift,
    Unplugged,
)
from hardware.rack.layout import Layout, Seat, small_layout
from hardware.rack.rack import Rack
from hardware.rack.room import Room

START_MS = 1_700_000_000_000
HOUR_MS = 3_600_000
LAYOUT = small_layout(seed=11)
WARM, COOL, OTHER_WARM, OTHER_COOL, ROOM = (p.id for p in LAYOUT.probe)


def run(
    hours: float, script: Script, every_ms: int = 300_000, layout: Layout = LAYOUT
) -> dict[str, list[tuple[int, float]]]:
    """(time, temperature) of every probe."""
    rack = Rack.of(layout, script, START_MS)
    seen: dict[str, list[tuple[int, float]]] = {p.id: [] for p in layout.probe}
    for at_ms in range(START_MS, START_MS + round(hours * HOUR_MS), every_ms):
        rack.advance(at_ms)
        for sample in rack.read():
            if sample.quantity is Quantity.TEMPERATURE:
                seen[sample.probe].append((at_ms, sample.value))
    return seen


def values(trail: list[tuple[int, float]], from_h: float = 0, until_h: float = 1e9) -> list[float]:
    start, end = START_MS + from_h * HOUR_MS, START_MS + until_h * HOUR_MS
    return [value for at_ms, value in trail if start <= at_ms < end]


def test_equal_seeds_give_equal_readings_and_others_do_not() -> None:
    faults = [DoorOpen("left shelf", START_MS + HOUR_MS, START_MS + HOUR_MS + 300_000)]
    first = run(30, Script(faults))
    assert first == run(30, Script(faults))
    assert first != run(30, Script(faults), layout=small_layout(seed=12))


def test_a_healthy_rack_holds_its_zones() -> None:
    seen = run(72, Script())
    assert min(values(seen[WARM])) > 30.5
    assert max(values(seen[WARM])) < 31.9
    assert min(values(seen[COOL])) > 23.5
    assert max(values(seen[COOL])) < 27.0
    assert min(values(seen[ROOM])) > 15.0
    assert max(values(seen[ROOM])) < 24.0


def test_a_dead_heater_cools_its_own_enclosure_only() -> None:
    seen = run(24, Script([HeaterFault("left shelf", Heater.OFF, START_MS + 6 * HOUR_MS)]))
    assert min(values(seen[WARM], 0, 6)) > 30.5
    assert values(seen[WARM])[-1] < 22.5
    assert min(values(seen[OTHER_WARM])) > 30.8


def test_a_power_cut_is_silent_and_ends_with_85_degrees() -> None:
    cut = PowerCut(START_MS + 4 * HOUR_MS, START_MS + 12 * HOUR_MS)
    seen = run(24, Script([cut]))
    for trail in seen.values():
        assert values(trail, 4, 12) == []
    assert values(seen[WARM], 12)[0] == 85.0
    assert values(seen[WARM], 12)[1] < 24.0
    assert 85.0 not in values(seen[ROOM])  # an SHT4x has no such value


def test_a_fallen_probe_reads_the_cool_side() -> None:
    fall = Fallen(WARM, START_MS + 6 * HOUR_MS, START_MS + 18 * HOUR_MS)
    seen = run(24, Script([fall]))
    lying = list(zip(values(seen[WARM], 8, 18), values(seen[COOL], 8, 18), strict=True))
    assert all(abs(warm - cool) < 0.5 for warm, cool in lying)
    assert min(values(seen[WARM], 19)) > 30.0


def test_an_unplugged_probe_says_so() -> None:
    seen = run(6, Script([Unplugged(COOL, START_MS + HOUR_MS, START_MS + 2 * HOUR_MS)]))
    assert set(values(seen[COOL], 1, 2)) == {-127.0}
    assert -127.0 not in values(seen[COOL], 0, 1) + values(seen[COOL], 2)


def test_a_drifting_thermostat_wanders_evenly_and_is_mended() -> None:
    drift = ThermostatDrift("left shelf", -4.0, START_MS, START_MS + 100 * HOUR_MS)
    seen = run(130, Script([drift]))
    for hour in (30, 60, 90):
        around = values(seen[WARM], hour - 3, hour + 3)
        assert sum(around) / len(around) == pytest.approx(31.2 - 0.04 * hour, abs=0.4)
    assert min(values(seen[WARM], 110)) > 30.0


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 900_000), min_size=1, max_size=60))
def test_readings_do_not_depend_on_how_often_it_is_advanced_beyond_the_thermostat(
    steps: list[int],
) -> None:
    # With the heater dead nothing switches: any steps lead to the same temperature, as nearly
    # as the room, which is held for a minute at most, allows.
    script = [HeaterFault("left shelf", Heater.OFF, 0)]
    one, other = (Rack.of(LAYOUT, Script(script), START_MS) for _ in range(2))
    for step in steps:
        one.advance(one.now_ms + step)
    other.advance(one.now_ms)
    assert one.enclosure("left shelf").warm_c == pytest.approx(
        other.enclosure("left shelf").warm_c, abs=1e-3
    )


def test_a_probe_that_moves_reads_where_it_lies() -> None:
    moved = START_MS + 3 * HOUR_MS
    rack = Rack(
        seed=1,
        room=Room(1),
        enclosures=LAYOUT.enclosure,
        probes=[LAYOUT.probe[0].build()],
        seats=[
            Seat(WARM, "left shelf", "warm side", until_ms=moved),
            Seat(WARM, "right shelf", "cool side", from_ms=moved + HOUR_MS),
        ],
        script=Script(),
        start_ms=START_MS,
    )
    found = {}
    for hour in (1, 3.5, 6):
        rack.advance(START_MS + round(hour * HOUR_MS))
        found[hour] = [sample.value for sample in rack.read()]
    assert found[1][0] > 30.0
    assert found[3.5] == []
    assert found[6][0] < 27.0
