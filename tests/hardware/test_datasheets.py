"""The datasheets' tables against every decoder: the node's, under real MicroPython, and the host's.

One program computes all of the node's answers; the rows are then held against them one by one.
"""

from __future__ import annotations

from typing import Any

import pytest
from crccheck.crc import Crc8MaximDow, Crc8Nrsc5, Crc16Ibm3740

from collector import serial_frame
from collector.sources import onewire
from config.errors import BadPayload
from tests.micropython import run

# DS18B20 datasheet, table 1 (read); FFFFh is a valid reading, not a sign of a missing probe.
TABLE_1 = {
    0x07D0: 125.0,
    0x0550: 85.0,
    0x0191: 25.0625,
    0x00A2: 10.125,
    0x0008: 0.5,
    0x0000: 0.0,
    0xFFFF: -0.0625,
    0xFFF8: -0.5,
    0xFF5E: -10.125,
    0xFE6F: -25.0625,
    0xFC90: -55.0,
}
# SHT3x and SHT4x datasheets (read): T = −45 + 175·S/65535, RH = 100·S/65535 or −6 + 125·S/65535,
# cut to 0–100 %. The ends and 6666h by hand from these.
TICKS = [
    ("SHT3x", 0x6666, 25.0, 40.0),
    ("SHT4x", 0x6666, 25.0, 44.0),
    ("SHT3x", 0x0000, -45.0, 0.0),
    ("SHT4x", 0x0000, -45.0, 0.0),
    ("SHT3x", 0xFFFF, 130.0, 100.0),
    ("SHT4x", 0xFFFF, 130.0, 100.0),
]
CHECK = b"123456789"
AN_27 = bytes.fromhex("021cb801000000")  # Maxim application note 27 (from memory; computed agrees)
CRCS = [
    ("crc8_dow", CHECK, 0xA1),
    ("crc8_dow", AN_27, 0xA2),
    ("crc8_dow", AN_27 + b"\xa2", 0x00),
    ("crc8_sht", CHECK, 0xF7),
    ("crc8_sht", b"\xbe\xef", 0x92),  # SHT3x datasheet (read)
    ("crc16", CHECK, 0x29B1),
]

NODE = """
import json, sys
from hardware.node import crc, ds18b20, sht
from hardware.node.words import NoReading, decimal
from hardware.simulated import one_wire, sht as simulated_sht

def celsius(pad):
    try:
        return float(decimal(ds18b20.celsius_e4(bytes.fromhex(pad)), 4))
    except NoReading as fault:
        return str(fault)

asked = json.load(sys.stdin)
made = {"crc8_dow": one_wire.crc8_dow, "crc8_sht": simulated_sht.crc8_sht, "crc16": crc.crc16}
print(json.dumps({
    "pads": [celsius(pad) for pad in asked["pads"]],
    "ticks": [
        [sht.celsius_e4(s) / 10000, sht.humidity_e4(s, sht.KINDS[kind]) / 10000]
        for kind, s in asked["ticks"]
    ],
    "crcs": [
        [getattr(crc, name)(bytes.fromhex(data)), made[name](bytes.fromhex(data))]
        for name, data in asked["crcs"]
    ],
}))
"""


def scratchpad(register: int, configuration: int = 0x7F) -> bytes:
    """Nine bytes as a DS18B20 gives them (datasheet, memory map)."""
    head = register.to_bytes(2, "little") + bytes([0x4B, 0x46, configuration, 0xFF, 0x0C, 0x10])
    return head + bytes([Crc8MaximDow.calc(head)])


NO_READINGS = {
    "all zeros: a shorted line, and a right CRC": bytes(9),
    "all ones: nobody answers": b"\xff" * 9,
    "a wrong CRC": scratchpad(0x0191)[:8] + b"\x00",
    "no such configuration": scratchpad(0x0191, 0xFF),
    "cut short": scratchpad(0x0191)[:8],
}
PADS = [*map(scratchpad, TABLE_1), *NO_READINGS.values()]


@pytest.fixture(scope="module")
def node() -> dict[str, list[Any]]:
    """The node's answers."""
    asked = {
        "pads": [pad.hex() for pad in PADS],
        "ticks": [[kind, ticks] for kind, ticks, _, _ in TICKS],
        "crcs": [[name, data.hex()] for name, data, _ in CRCS],
    }
    answers: dict[str, list[Any]] = run(NODE, asked)
    return answers


@pytest.mark.parametrize("row", range(len(TABLE_1)), ids=[f"{r:04X}h" for r in TABLE_1])
def test_the_ds18b20s_table_1(node: dict[str, list[Any]], row: int) -> None:
    register, celsius = list(TABLE_1.items())[row]
    assert node["pads"][row] == celsius
    assert onewire.scratchpad_c(scratchpad(register)) == celsius


@pytest.mark.parametrize("row", range(len(NO_READINGS)), ids=list(NO_READINGS))
def test_scratchpads_that_are_no_reading(node: dict[str, list[Any]], row: int) -> None:
    assert node["pads"][len(TABLE_1) + row] in ("wrong checksum", "the data wire is shorted")
    with pytest.raises(BadPayload):
        onewire.scratchpad_c(list(NO_READINGS.values())[row])


@pytest.mark.parametrize("row", range(len(TICKS)), ids=[f"{t[0]} {t[1]:04X}h" for t in TICKS])
def test_the_sht_formulas(node: dict[str, list[Any]], row: int) -> None:
    _, _, celsius, humidity_pct = TICKS[row]
    assert node["ticks"][row] == [celsius, humidity_pct]


@pytest.mark.parametrize("row", range(len(CRCS)), ids=[f"{c[0]} {c[1].hex()}" for c in CRCS])
def test_the_checksums(node: dict[str, list[Any]], row: int) -> None:
    name, data, value = CRCS[row]
    reference = {"crc8_dow": Crc8MaximDow, "crc8_sht": Crc8Nrsc5, "crc16": Crc16Ibm3740}[name]
    assert reference.calc(data) == value
    assert node["crcs"][row] == [value, value]
    if name == "crc16":
        assert serial_frame.crc16(data) == value
