"""The firmware's drivers on simulated buses: what is read, and what is a fault instead."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardware.node import one_wire, sht
from hardware.node.ds18b20 import Chain, name_of
from hardware.node.words import CELSIUS, HUMIDITY, Said, Sensors
from hardware.simulated.clock import Clock
from hardware.simulated.ds18b20 import Ds18b20
from hardware.simulated.i2c import Bus
from hardware.simulated.one_wire import Line, crc8_dow
from hardware.simulated.sht import Sht3x, Sht4x

SERIALS = st.integers(0, 2**48 - 1).map(lambda serial: b"\x28" + serial.to_bytes(6, "little"))
BOARD = "urn:dev:mac:02005efffe00533a"
Befall = Callable[[], None]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """A clock that goes on while the firmware sleeps."""
    made, at_once = Clock(), asyncio.sleep

    async def sleep(seconds: float) -> None:
        made.sleep_ms(round(seconds * 1000))
        await at_once(0)

    monkeypatch.setattr("asyncio.sleep", sleep)
    return made


def read(sensors: Sensors) -> Said:
    said = Said()
    asyncio.run(sensors.read(said))
    return said


def values(said: Said) -> dict[str, float]:
    return {f"{one.probe} {one.unit}": one.value_e4 / 10_000 for one in said.readings}


def faults(said: Said) -> dict[str, str]:
    return {one.probe: one.text for one in said.faults}


# ---- 1-Wire ------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=50)
@given(st.lists(SERIALS, unique=True, max_size=8))
def test_a_search_finds_everyone_once(roms: list[bytes]) -> None:
    """However many bits two ROMs have in common (Maxim application note 187)."""
    line = Line([Ds18b20(rom, 20.0, Clock()) for rom in roms])
    found = list(one_wire.search(line))
    assert sorted(found) == sorted(rom + bytes([crc8_dow(rom)]) for rom in roms)
    assert len(set(found)) == len(found)


@settings(deadline=None, max_examples=50)
@given(st.lists(SERIALS, unique=True, min_size=1, max_size=4), st.integers(0, 400))
def test_noise_makes_nobody_up(roms: list[bytes], place: int) -> None:
    """One spoilt slot can hide a device for this search; it never adds one (CRC-8)."""
    line = Line([Ds18b20(rom, 20.0, Clock()) for rom in roms])
    line.flip_read = place
    there = {rom + bytes([crc8_dow(rom)]) for rom in roms}
    assert set(one_wire.search(line)) <= there
    line.flip_read = None
    assert set(one_wire.search(line)) == there


def two(clock: Clock) -> tuple[Ds18b20, Ds18b20, Line, Chain]:
    first = Ds18b20(bytes.fromhex("28a1b2c3d4e5f6"), 31.5, clock)
    second = Ds18b20(bytes.fromhex("28b2c3d4e5f607"), -10.125, clock)
    line = Line([first, second])
    return first, second, line, Chain(line, "the-line")


def test_eight_on_a_line_and_one_with_a_bad_contact(clock: Clock) -> None:
    """Seven are read as ever, and each is warmed by one conversion a round, however often the bad
    one is asked again (DS18B20 datasheet: 1.5 mA for 0.75 s)."""
    probes = [Ds18b20(bytes([0x28, n, 2, 3, 4, 5, 6]), 20.0 + n, clock) for n in range(8)]
    probes[3].spoilt = True
    chain = Chain(Line(list(probes)), "the-line")
    for _ in range(10):
        said = read(chain)
        assert values(said) == {
            f"{name_of(one.rom)} {CELSIUS}": one.celsius for one in probes if not one.spoilt
        }
        assert faults(said) == {name_of(probes[3].rom): "wrong checksum"}
    assert {one.conversions for one in probes} == {10}
    probes[3].spoilt = False
    assert len(values(read(chain))) == 8


def test_two_probes_on_one_line(clock: Clock) -> None:
    first, second, _, chain = two(clock)
    assert values(read(chain)) == {
        f"{name_of(first.rom)} {CELSIUS}": 31.5,
        f"{name_of(second.rom)} {CELSIUS}": -10.125,
    }
    assert 700 <= clock.now_ms() <= 800  # one conversion for both (datasheet, table 2: 750 ms)


def test_a_probe_that_loses_power_says_85_and_is_not_believed(clock: Clock) -> None:
    _, second, _, chain = two(clock)
    read(chain)
    convert = second.hear

    def hear(bit: int) -> None:
        convert(bit)
        if second._ready_ms is not None:  # in the middle of its conversion
            second.power_cut()

    second.hear = hear  # type: ignore[method-assign]
    said = read(chain)
    assert list(values(said).values()) == [31.5]
    assert faults(said) == {name_of(second.rom): "lost power while it measured"}
    second.hear = convert  # type: ignore[method-assign]
    second.celsius = 85.0  # and where it is 85 °C, that is a reading
    assert values(read(chain))[f"{name_of(second.rom)} {CELSIUS}"] == 85.0


def test_unplugged_and_back_and_one_more(clock: Clock) -> None:
    first, second, line, chain = two(clock)
    read(chain)
    second.unplug()
    said = read(chain)
    assert (len(said.readings), faults(said)) == (1, {name_of(second.rom): "no answer"})
    first.unplug()
    said = read(chain)
    assert said.readings == []
    assert set(faults(said).values()) == {"no answer"}
    first.plug()
    second.plug()
    third = Ds18b20(bytes.fromhex("28000000000001"), 20.0, clock)
    line.devices.append(third)
    assert set(values(read(chain)).values()) == {31.5, -10.125, 20.0}


def test_a_line_on_which_nobody_was_ever_heard_is_a_fault(clock: Clock) -> None:
    """A wrong pin, or a broken wire while the node began: the node would say nothing."""
    first, second, line, chain = two(clock)
    first.unplug()
    second.unplug()
    assert faults(read(chain)) == {"the-line": "no probe answers"}
    other = Ds18b20(b"\x10\1\2\3\4\5\6", 20.0, clock)  # another family on the line
    line.devices.append(other)
    assert faults(read(chain)) == {"the-line": "no probe answers"}
    first.plug()
    assert faults(read(chain)) == {}
    first.unplug()
    assert faults(read(chain)) == {name_of(first.rom): "no answer"}


def test_a_shorted_line_is_no_zero(clock: Clock) -> None:
    first, second, line, chain = two(clock)
    line.shorted = True
    assert faults(read(chain)) == {"the-line": "the data wire is shorted"}
    line.shorted = False
    assert len(read(chain).readings) == 2
    line.shorted = True
    said = read(chain)
    assert said.readings == []
    assert set(faults(said)) == {"the-line", name_of(first.rom), name_of(second.rom)}


def test_a_probe_without_its_supply_wire_is_named(clock: Clock) -> None:
    _, second, _, chain = two(clock)
    second.parasite = True
    said = read(chain)
    assert list(values(said).values()) == [31.5]
    assert faults(said) == {name_of(second.rom): "no supply: check its red wire"}


@settings(deadline=None, max_examples=50)
@given(slot=st.integers(0, 1500))
def test_one_spoilt_slot_costs_no_reading_and_makes_none_up(slot: int) -> None:
    clock = Clock()
    first, second, line, chain = two(clock)
    with pytest.MonkeyPatch.context() as patch:
        at_once = asyncio.sleep

        async def sleep(seconds: float) -> None:
            clock.sleep_ms(round(seconds * 1000))
            await at_once(0)

        patch.setattr("asyncio.sleep", sleep)
        read(chain)
        line.flip_read = slot
        said = read(chain)
    truth = {name_of(first.rom): 31.5, name_of(second.rom): -10.125}
    for one in said.readings:
        assert one.value_e4 / 10_000 == truth[one.probe]
    assert {one.probe for one in said.readings} | set(faults(said)) >= set(truth)


# ---- I2C ---------------------------------------------------------------------------------------


def sensors(clock: Clock) -> tuple[Bus, Sht3x, Sht4x, sht.Sht, sht.Sht]:
    three, four = Sht3x(25.0, 40.0, 3, clock), Sht4x(31.0, 80.0, 0xDEADBEEF, clock)
    bus = Bus({0x45: three, 0x44: four})
    kinds = sht.KINDS
    return (
        bus,
        three,
        four,
        sht.Sht(bus, 0x45, kinds["SHT3x"], BOARD),
        sht.Sht(bus, 0x44, kinds["SHT4x"], BOARD),
    )


def test_both_kinds_are_read_and_never_heated(clock: Clock) -> None:
    _, three, four, reads_three, reads_four = sensors(clock)
    assert values(read(reads_three)) == pytest.approx(
        {f"{BOARD}_sht-00000003 {CELSIUS}": 25.0, f"{BOARD}_sht-00000003 {HUMIDITY}": 40.0}
    )
    found = values(read(reads_four))
    assert found[f"{BOARD}_sht-deadbeef {CELSIUS}"] == pytest.approx(31.0, abs=0.002)
    assert found[f"{BOARD}_sht-deadbeef {HUMIDITY}"] == pytest.approx(80.0, abs=0.002)
    assert three.heated == four.heated == 0


@pytest.mark.parametrize(
    ("kind", "reset_ms", "longest_ms"), [("SHT3x", 1.5, 15), ("SHT4x", 1, 8.3)]
)
def test_a_sensor_has_its_time_where_a_board_counts_whole_milliseconds(
    kind: str, reset_ms: float, longest_ms: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sleep of n ms there lasts from n − 1 to n. (Datasheets: soft reset, from memory; longest
    measurement.)"""
    now_ms, told = [0.0], list[tuple[bytes, float]]()

    async def sleep(seconds: float) -> None:
        now_ms[0] += round(seconds * 1000) - 0.999

    class Watched(sht.I2c):
        def writeto(self, address: int, data: bytes) -> int:
            assert address == 0x44
            told.append((data, now_ms[0]))
            return len(data)

        def readfrom(self, address: int, count: int) -> bytes:
            assert (address, count) == (0x44, 6)
            told.append((b"", now_ms[0]))
            return b"\xbe\xef\x92" * 2

    monkeypatch.setattr("asyncio.sleep", sleep)
    one = sht.KINDS[kind]
    assert len(read(sht.Sht(Watched(), 0x44, one, BOARD)).readings) == 2
    (first, reset), (asked, met), _, (measured, began), (_, ended) = told
    assert (first, asked, measured) == (one.reset, one.serial, one.measure)
    assert met - reset >= reset_ms
    assert ended - began >= longest_ms


def test_a_wrong_crc_is_asked_again_and_then_a_fault(clock: Clock) -> None:
    _, _, four, _, reads = sensors(clock)
    four.spoil = 2
    assert len(read(reads).readings) == 2
    four.spoil = 3
    said = read(reads)
    assert said.readings == []
    assert faults(said) == {f"{BOARD}_sht-deadbeef": "wrong checksum"}


def test_no_answer_and_another_sensor_in_its_place(clock: Clock) -> None:
    bus, _, four, _, reads = sensors(clock)
    four.unplug()
    assert faults(read(reads)) == {f"{BOARD}_sht-at-44": "no answer"}
    four.plug()
    read(reads)
    four.unplug()
    assert faults(read(reads)) == {f"{BOARD}_sht-deadbeef": "no answer"}
    bus.devices[0x44] = Sht4x(20.0, 50.0, 7, clock)
    assert {one.probe for one in read(reads).readings} == {f"{BOARD}_sht-00000007"}


def test_a_data_wire_that_is_held_is_freed(clock: Clock) -> None:
    """A board that was started again in the middle of an answer finds the wire held low; nine
    clocks free it (NXP UM10204 §3.1.16), and no reading is lost."""
    bus, _, _, reads_three, reads_four = sensors(clock)
    bus.held_clocks = 9
    assert len(values(read(reads_three))) == 2
    bus.held_clocks = 99
    assert faults(read(reads_four)) == {f"{BOARD}_sht-at-44": "no answer"}


def test_the_simulated_sensor_stretches_its_clock_or_does_not_acknowledge(clock: Clock) -> None:
    bus, *_ = sensors(clock)
    bus.writeto(0x45, b"\x2c\x06")  # SHT3x datasheet: with clock stretching
    assert sht.words(bus.readfrom(0x45, 6))[0] == 0x6666
    assert clock.now_ms() == 15
    bus.writeto(0x45, b"\x24\x00")  # without
    with pytest.raises(OSError, match="19"):
        bus.readfrom(0x45, 6)
    with pytest.raises(OSError, match="19"):
        bus.writeto(0x46, b"\xfd")  # nobody is there
