"""Which readings are doubted, one by one and as whole series."""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.plausible import Judge, judge_series, too_fast
from collector.readings import Flag, Quantity, Reading
from collector.sensors import Sensor
from collector.store.columns import Columns
from config.settings import Plausibility

T, H, V = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.VOLTAGE
SETTINGS = Plausibility()
START_MS = 1_800_000_000_000
STEP_MS = 10_000
HOUR_MS = 3_600_000


def judged(
    raw: Sequence[float],
    quantity: Quantity = T,
    sensor: Sensor | None = "DS18B20",
    step_ms: int = STEP_MS,
) -> list[Flag]:
    """As the readings arrive, one every `step_ms`."""
    sensors: Mapping[str, Sensor] = {"p": sensor} if sensor else {}
    judge = Judge(SETTINGS, sensors)
    return [
        judge.flags(Reading("p", quantity, START_MS + i * step_ms, value))
        for i, value in enumerate(raw)
    ]


def judged_whole(
    raw: Sequence[float], sensor: Sensor | None = "DS18B20", step_ms: int = STEP_MS
) -> list[Flag]:
    columns = Columns.ordered([START_MS + i * step_ms for i in range(len(raw))], raw)
    return [Flag(flag) for flag in judge_series(columns, T, sensor, SETTINGS).flags]


# ---- ranges and values that are no measurement -------------------------------------------------


@pytest.mark.parametrize(
    ("sensor", "raw", "flag"),
    [
        ("DS18B20", -55.0, Flag.NONE),  # DS18B20 datasheet: −55 to +125 °C (read)
        ("DS18B20", 125.0, Flag.NONE),
        ("DS18B20", -55.0625, Flag.OUT_OF_RANGE),
        ("DS18B20", 125.0625, Flag.OUT_OF_RANGE),
        ("SHT3x", -40.0, Flag.NONE),  # SHT3x and SHT4x datasheets: −40 to +125 °C
        ("SHT3x", -40.01, Flag.OUT_OF_RANGE),
        ("SHT4x", 125.01, Flag.OUT_OF_RANGE),
        (None, -55.0, Flag.NONE),
        (None, -56.0, Flag.OUT_OF_RANGE),
        ("DS18B20", -127.0, Flag.DISCONNECTED),
        (None, -127.0, Flag.DISCONNECTED),
        ("DS18B20", -126.9375, Flag.OUT_OF_RANGE),
        ("DS18B20", 85.0, Flag.POWER_ON),
        (None, 85.0, Flag.POWER_ON),
        ("SHT3x", 85.0, Flag.NONE),
        ("DS18B20", 84.9375, Flag.NONE),
    ],
)
def test_a_first_reading(sensor: Sensor | None, raw: float, flag: Flag) -> None:
    assert judged([raw], sensor=sensor) == [flag]
    assert judged_whole([raw], sensor=sensor) == [flag]


@pytest.mark.parametrize(
    ("raw", "flag"),
    [(0.0, Flag.NONE), (100.0, Flag.NONE), (-0.1, Flag.OUT_OF_RANGE), (100.1, Flag.OUT_OF_RANGE)],
)
def test_humidity_lies_between_0_and_100(raw: float, flag: Flag) -> None:
    assert judged([raw], quantity=H) == [flag]


def test_only_temperature_jumps_and_nothing_is_said_of_voltage() -> None:
    assert judged([40, 95, 40], quantity=H) == [Flag.NONE] * 3
    assert judged([3.1, 85, -127], quantity=V) == [Flag.NONE] * 3


def test_85_degrees_is_believed_beside_a_good_neighbour() -> None:
    assert judged([83.0, 85.0]) == [Flag.NONE, Flag.NONE]
    assert judged([30.0, 85.0, 30.0]) == [Flag.NONE, Flag.POWER_ON, Flag.NONE]
    # A whole series shows the neighbour behind it too.
    assert judged([85.0, 83.0])[0] == Flag.POWER_ON
    assert judged_whole([85.0, 83.0]) == [Flag.NONE, Flag.NONE]


def test_85_degrees_is_no_neighbour_of_itself() -> None:
    assert judged([30.0, *[85.0] * 5]) == [Flag.NONE, *[Flag.POWER_ON] * 5]
    assert judged_whole([30.0, *[85.0] * 5, 30.0]) == [
        Flag.NONE,
        *[Flag.POWER_ON] * 5,
        Flag.NONE,
    ]


def test_a_fault_value_is_no_neighbour() -> None:
    assert judged_whole([30.0, 85.0, 124.0, -127.0, 30.0, 30.0, 30.0])[1] == Flag.POWER_ON


# ---- jumps -------------------------------------------------------------------------------------


def test_the_limit_of_a_jump() -> None:
    limit_c = 6.0 + 12.0 * 10 / 60  # the default settings, ten seconds
    assert not too_fast(limit_c, STEP_MS, SETTINGS)
    assert too_fast(limit_c + 1e-9, STEP_MS, SETTINGS)
    assert judged([30.0, 30.0 + limit_c]) == [Flag.NONE, Flag.NONE]
    assert judged([30.0, 30.0 - limit_c - 0.1]) == [Flag.NONE, Flag.JUMP]


def test_one_wild_reading_is_flagged_and_the_next_is_not() -> None:
    flags = [Flag.NONE, Flag.NONE, Flag.JUMP, Flag.NONE, Flag.NONE]
    assert judged([30, 30.1, 50, 30.1, 30]) == flags
    assert judged_whole([30, 30.1, 50, 30.1, 30]) == flags


def test_a_level_that_holds_is_believed() -> None:
    raw = [30, 30, 30, 45, 45.1, 45, 45.2]
    none, jump = Flag.NONE, Flag.JUMP
    assert judged(raw) == [none, none, none, jump, jump, none, none]
    assert judged_whole(raw) == [none] * 7  # there the end is known at the start


def test_a_level_must_hold_in_a_row() -> None:
    assert judged([30, 45, 60, 45, 60]) == [Flag.NONE, *[Flag.JUMP] * 4]
    assert judged([30, 45, 45, 30, 45, 45, 30]) == [
        *(Flag.NONE, Flag.JUMP, Flag.JUMP, Flag.NONE, Flag.JUMP, Flag.JUMP, Flag.NONE),
    ]


def test_a_wild_first_reading_is_found_out_in_a_whole_series() -> None:
    assert judged_whole([60, 30, 30, 30]) == [Flag.JUMP, Flag.NONE, Flag.NONE, Flag.NONE]
    assert judged([60, 30, 30, 30]) == [Flag.NONE, Flag.JUMP, Flag.JUMP, Flag.NONE]


def test_two_wild_readings_alone_are_both_left() -> None:
    assert judged_whole([60, 30]) == [Flag.NONE, Flag.JUMP]


def test_after_a_long_silence_nothing_is_a_jump() -> None:
    assert judged([30, 45], step_ms=10 * 60_000) == [Flag.NONE, Flag.NONE]
    assert judged_whole([30, 45], step_ms=10 * 60_000) == [Flag.NONE, Flag.NONE]


def test_minutes_count_from_the_last_good_reading() -> None:
    # 30 → 50 needs 20 − 6 = 14 °C at 12 °C a minute: 70 s, the eighth step of 10 s.
    judge = Judge(SETTINGS.model_copy(update={"accept_after_readings": 100}), {})
    at = [judge.flags(Reading("p", T, START_MS, 30.0))]
    at += [judge.flags(Reading("p", T, START_MS + i * 10_000, 50.0)) for i in range(1, 10)]
    assert at == [Flag.NONE, *[Flag.JUMP] * 6, *[Flag.NONE] * 3]


def test_a_late_reading_changes_nothing_for_the_next() -> None:
    judge = Judge(SETTINGS, {})
    assert judge.flags(Reading("p", T, START_MS, 30.0)) == Flag.NONE
    assert judge.flags(Reading("p", T, START_MS - 60_000, 60.0)) == Flag.NONE
    assert judge.flags(Reading("p", T, START_MS - 50_000, -127.0)) == Flag.DISCONNECTED
    assert judge.flags(Reading("p", T, START_MS + STEP_MS, 30.0)) == Flag.NONE


def test_what_the_store_knows_is_the_first_neighbour() -> None:
    judge = Judge(SETTINGS, {})
    judge.remember(Reading("p", T, START_MS, 30.0))
    judge.remember(Reading("q", T, START_MS, 60.0, flags=Flag.JUMP))
    assert judge.flags(Reading("p", T, START_MS + STEP_MS, 50.0)) == Flag.JUMP
    assert judge.flags(Reading("q", T, START_MS + STEP_MS, 30.0)) == Flag.NONE


# ---- stuck -------------------------------------------------------------------------------------


def run_stuck(
    still: Sequence[float], moving: Sequence[float], step_ms: int = 10 * 60_000
) -> list[Flag]:
    """Flags of `still` while `moving` is another probe."""
    judge = Judge(SETTINGS, {})
    flags = []
    for i, (one, other) in enumerate(zip(still, moving, strict=True)):
        judge.flags(Reading("moving", T, START_MS + i * step_ms, other))
        flags.append(judge.flags(Reading("still", T, START_MS + i * step_ms, one)))
    return flags


PER_HOUR = 6


def test_stuck_while_others_move() -> None:
    hours = 20 * PER_HOUR
    moving = [28 + (i % 36) / 18 for i in range(hours)]  # 2 °C up every six hours
    flags = run_stuck([30.5] * (hours - 2) + [30.4375, 30.5], moving)
    assert flags[: 12 * PER_HOUR] == [Flag.NONE] * (12 * PER_HOUR)
    assert flags[12 * PER_HOUR : -2] == [Flag.STUCK] * (8 * PER_HOUR - 2)
    assert flags[-2:] == [Flag.NONE, Flag.NONE]


def test_not_stuck_when_nothing_moves() -> None:
    hours = 30 * PER_HOUR
    assert set(run_stuck([30.5] * hours, [28 + 0.4 * (i % 3) for i in range(hours)])) == {Flag.NONE}


def test_not_stuck_when_the_others_moved_before() -> None:
    moving = [28 + min(i, 12) / 4 for i in range(12)] + [31.0] * (30 * PER_HOUR)
    still = [30.0 + i / 16 for i in range(12)] + [30.5] * (30 * PER_HOUR)
    assert set(run_stuck(still, moving)) == {Flag.NONE}


def test_not_stuck_after_a_silence_that_hides_what_happened() -> None:
    judge = Judge(SETTINGS, {})
    for hour in (0, 13, 26):
        judge.flags(Reading("still", T, START_MS + hour * HOUR_MS, 30.5))
        judge.flags(Reading("moving", T, START_MS + hour * HOUR_MS, 20.0 + hour))
    assert judge.flags(Reading("still", T, START_MS + 26 * HOUR_MS + 1, 30.5)) == Flag.NONE


def test_the_same_probes_humidity_is_no_other_probe() -> None:
    judge = Judge(SETTINGS, {})
    for i in range(20 * PER_HOUR):
        at_ms = START_MS + i * 600_000
        judge.flags(Reading("p", H, at_ms, 50 + i % 40))
        assert judge.flags(Reading("p", T, at_ms, 30.5)) == Flag.NONE


def test_stuck_before_a_restart_is_stuck_after_it() -> None:
    judge = Judge(SETTINGS, {})
    judge.remember(Reading("p", T, START_MS, 30.5, flags=Flag.STUCK))
    assert judge.flags(Reading("p", T, START_MS + STEP_MS, 30.5)) == Flag.STUCK
    assert judge.flags(Reading("p", T, START_MS + 2 * STEP_MS, 30.5625)) == Flag.NONE


_WALK = st.lists(st.floats(-0.4, 0.4), min_size=150, max_size=200)


@given(_WALK)
def test_stuck_is_never_said_without_movement_of_another(steps: list[float]) -> None:
    moving = [30.0]
    for step in steps:
        moving.append(moving[-1] + step)
    flags = run_stuck([30.5] * len(moving), moving)
    for i, flag in enumerate(flags):
        if flag:
            assert i >= 12 * PER_HOUR
            assert max(moving[: i + 1]) - min(moving[: i + 1]) >= 1.0


# ---- laws --------------------------------------------------------------------------------------

_RAW = st.lists(
    st.one_of(st.floats(24, 34), st.sampled_from([85.0, -127.0, 0.0, 200.0]), st.floats(-60, 130)),
    max_size=60,
)


@given(_RAW, st.lists(st.integers(1, 600_000), min_size=60, max_size=60))
def test_a_whole_series_keeps_its_times_and_values(raw: list[float], steps: list[int]) -> None:
    times = [START_MS + sum(steps[: i + 1]) for i in range(len(raw))]
    columns = Columns(array("q", times), array("d", raw), bytearray(len(raw)))
    flagged = judge_series(columns, T, None, SETTINGS)
    assert (flagged.at_ms, flagged.raw) == (columns.at_ms, columns.raw)
    assert columns.flags == bytearray(len(raw))
    assert judge_series(flagged, T, None, SETTINGS).flags == flagged.flags
    for value, flag in zip(raw, flagged.flags, strict=True):
        assert (flag == Flag.DISCONNECTED) == (value == -127.0)
        assert (flag == Flag.OUT_OF_RANGE) == (not -55 <= value <= 125 and value != -127.0)


@given(st.lists(st.floats(-0.5, 0.5), max_size=80))
def test_an_ordinary_enclosure_is_never_doubted(steps: list[float]) -> None:
    raw = [29.0]
    for step in steps:
        raw.append(min(36.0, max(20.0, raw[-1] + step)))
    assert set(judged(raw)) == {Flag.NONE}
    assert set(judged_whole(raw)) == {Flag.NONE}


@given(st.lists(st.floats(25, 33), min_size=4, max_size=40), st.data())
def test_a_lone_fault_costs_only_itself(raw: list[float], data: st.DataObject) -> None:
    at = data.draw(st.integers(1, len(raw) - 1))
    fault = data.draw(st.sampled_from([85.0, -127.0, 60.0, -20.0]))
    spoiled = [*raw[:at], fault, *raw[at:]]
    for flags in (judged(spoiled), judged_whole(spoiled)):
        assert [i for i, flag in enumerate(flags) if flag] == [at]


def test_state_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.plausible.MOST_SERIES", 10)
    judge = Judge(SETTINGS, {})
    for i in range(100):
        judge.flags(Reading(f"p{i}", T, START_MS, 30.0))
    assert len(judge._series) == 10
    assert len(judge._stuck._watched) == 10
