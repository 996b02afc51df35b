"""DS18B20 probes through the kernel's files."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from crccheck.crc import Crc8MaximDow, Crc8Nrsc5
from hypothesis import given
from hypothesis import strategies as st

from collector.counts import Counts
from collector.frame import Inbox
from collector.readings import Quantity
from collector.sources.onewire import OneWire, decode, probe_of, scratchpad_c, temperature_c
from config.errors import BadPayload


def scratchpad(register: int, configuration: int = 0x7F) -> bytes:
    """Nine bytes as a DS18B20 gives them (datasheet, figure on the memory map)."""
    head = register.to_bytes(2, "little") + bytes([0x4B, 0x46, configuration, 0xFF, 0x0C, 0x10])
    return head + bytes([Crc8MaximDow.calc(head)])


def w1_slave(pad: bytes, verdict: str = "YES") -> str:
    """The file as the Linux driver writes it."""
    digits = pad.hex(" ")
    return f"{digits} : crc={pad[8]:02x} {verdict}\n{digits} t=99999\n"


# DS18B20 datasheet, table 1 (read).
@pytest.mark.parametrize(
    ("register", "celsius"),
    [
        (0x07D0, 125.0),
        (0x0550, 85.0),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0.0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
        (0xFFFF, -0.0625),  # a valid reading, not a sign of a missing probe
    ],
)
def test_the_datasheets_table_1(register: int, celsius: float) -> None:
    assert scratchpad_c(scratchpad(register)) == celsius
    assert temperature_c(w1_slave(scratchpad(register))) == celsius


def test_check_values_of_the_crcs() -> None:
    # Computed with crccheck, as is CRC-8/NRSC-5, the one of the SHT sensors.
    assert Crc8MaximDow.calc(b"123456789") == 0xA1
    assert Crc8Nrsc5.calc(b"123456789") == 0xF7
    # SHT3x datasheet (read): BEEFh → 92h.
    assert Crc8Nrsc5.calc(bytes.fromhex("beef")) == 0x92
    # Maxim application note 27 (from memory; computed agrees).
    assert Crc8MaximDow.calc(bytes.fromhex("021cb801000000")) == 0xA2


@given(st.integers(0, 0xFFFF), st.integers(0, 3))
def test_undefined_bits_of_a_lower_resolution_are_ignored(register: int, resolution: int) -> None:
    value = scratchpad_c(scratchpad(register, configuration=0x1F | resolution << 5))
    step = 0.5 / 2**resolution  # datasheet, table 2: 0.5 °C at 9 bits, 0.0625 °C at 12
    signed = register - 0x10000 if register & 0x8000 else register
    assert value % step == 0
    assert 0 <= signed / 16 - value < step


def test_nine_zero_bytes_pass_the_crc_and_are_still_no_reading() -> None:
    assert Crc8MaximDow.calc(bytes(8)) == 0
    with pytest.raises(BadPayload, match="reserved bits"):
        scratchpad_c(bytes(9))


@pytest.mark.parametrize(
    "pad", [b"\xff" * 9, scratchpad(0x0191)[:8] + b"\x00", scratchpad(0x0191, 0xFF), b"", bytes(8)]
)
def test_other_scratchpads_that_are_none(pad: bytes) -> None:
    with pytest.raises(BadPayload):
        scratchpad_c(pad)


@given(st.integers(0, 0xFFFF), st.integers(0, 71))
def test_one_flipped_bit_is_noticed(register: int, bit: int) -> None:
    pad = bytearray(scratchpad(register))
    pad[bit // 8] ^= 1 << bit % 8
    with pytest.raises(BadPayload):
        scratchpad_c(bytes(pad))


@pytest.mark.parametrize(
    ("text", "celsius"), [("23187\n", 23.187), ("-10125", -10.125), ("85000\n", 85.0)]
)
def test_the_temperature_file(text: str, celsius: float) -> None:
    assert temperature_c(text) == celsius


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "did not answer"),
        ("\n", "did not answer"),
        ("t=23187", "not a reading"),
        ("1234567", "not a reading"),
        ("2506\x1e\n", "not a reading"),  # str.strip takes it for a space, int does not
        ("\x1d25062", "not a reading"),
        (w1_slave(scratchpad(0x0191), "NO"), "the driver says that the CRC is wrong"),
        (w1_slave(bytes(9)), "reserved bits"),
        (w1_slave(b"\xff" * 9), "CRC is wrong"),
    ],
)
def test_files_that_hold_no_reading(text: str, told: str) -> None:
    with pytest.raises(BadPayload, match=told):
        temperature_c(text)


def test_the_probe_is_named_as_its_rom_goes_over_the_wire() -> None:
    # RFC 8428's own example (read) is such a name: family, serial, and a CRC-8 that holds.
    assert Crc8MaximDow.calc(bytes.fromhex("10e2073a010800")) == 0x63
    name = probe_of("28-0000071c2f2a")
    rom = bytes.fromhex(name.removeprefix("urn:dev:ow:"))
    assert rom[:7] == bytes.fromhex("282a2f1c070000")
    assert rom[7] == Crc8MaximDow.calc(rom[:7])


def test_a_frame_becomes_a_measurement() -> None:
    (one,) = decode(w1_slave(scratchpad(0x0191)).encode(), "28-0000071c2f2a").measured
    assert (one.quantity, one.raw, one.at_ms) == (Quantity.TEMPERATURE, 25.0625, None)


# ---- the folder ----------------------------------------------------------------------------------


@pytest.fixture
def bus(tmp_path: Path) -> tuple[Path, OneWire, Inbox, Counts]:
    counts = Counts(lambda: 0)
    inbox = Inbox(100, counts)
    (tmp_path / "w1_bus_master1").mkdir()
    return tmp_path, OneWire(tmp_path, 10.0, inbox, counts), inbox, counts


def test_all_probes_of_the_folder_are_read(bus: tuple[Path, OneWire, Inbox, Counts]) -> None:
    folder, source, inbox, counts = bus
    for device, file, text in (
        ("28-0000071c2f2a", "w1_slave", w1_slave(scratchpad(0x0191))),
        ("28-0000071c2f2b", "temperature", "24000\n"),
        ("10-0000071c2f2c", "w1_slave", "another family"),
    ):
        (folder / device).mkdir()
        (folder / device / file).write_text(text)
    source.read_all(threading.Event())
    frames = [inbox.get(0.0), inbox.get(0.0), inbox.get(0.0)]
    values = [decode(f.payload, f.label).measured[0].raw for f in frames if f is not None]
    assert values == [25.0625, 24.0]
    assert counts.tallies()["1-wire"].connected


def test_a_missing_probe_gives_nothing(bus: tuple[Path, OneWire, Inbox, Counts]) -> None:
    folder, source, inbox, counts = bus
    device = folder / "28-0000071c2f2a"
    device.mkdir()
    (device / "temperature").write_text("24000\n")
    source.read_all(threading.Event())
    (device / "temperature").unlink()
    source.read_all(threading.Event())
    device.rmdir()
    source.read_all(threading.Event())
    assert inbox.get(0.0) is not None
    assert inbox.get(0.0) is None
    assert counts.tallies()["1-wire"].dropped == {"no answer": 2}
    assert not counts.tallies()["1-wire"].connected


def test_a_missing_folder_is_counted(tmp_path: Path) -> None:
    counts = Counts(lambda: 0)
    OneWire(tmp_path / "none", 1.0, Inbox(100, counts), counts).read_all(threading.Event())
    assert counts.tallies()["1-wire"].dropped == {"no bus": 1}
