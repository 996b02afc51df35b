"""What is copied to a board, in a folder of its own: main.py, pins and all, over make-believe pins.

Only what a board has built in (machine, network, onewire) is made up here, around the simulated
sensors; the folder's layout is the one that the guide tells to copy.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.readings import Quantity
from collector.senml import decode
from collector.serial_frame import decode as decode_line
from tests.hardware.node.stand import ROMS
from tests.micropython import ROOT, micropython_path
from tests.plug import eventually

MACHINE = """
import time
from hardware.simulated.i2c import Bus
from hardware.simulated.sht import Sht4x
from onewire import clock

bus = Bus({0x44: Sht4x(25.0, 55.0, 42, clock)})
bus.held_clocks = 3

class Pin:
    IN, OPEN_DRAIN = 0, 1

    def __init__(self, number, mode=None, value=None):
        if number > 40:
            raise ValueError("invalid pin")
        self.number = number

    def value(self, level=None):
        if level is None:
            return bus.held_clocks == 0
        bus.held_clocks -= level

class WDT:
    def __init__(self, timeout):
        assert timeout <= 8388

    def feed(self):
        with open("fed", "a") as file:
            file.write("x")

def SoftI2C(sda, scl, freq):
    assert (sda.number, scl.number) == (4, 5)
    return bus

def unique_id():
    return b"\\x00\\x24\\xbe\\x80\\x4f\\xf1"
"""
NETWORK = """
STA_IF = 0

class WLAN:
    def __init__(self, kind):
        from node import pins
        pins._WIFI_S = 2

    def active(self, on):
        pass

    def isconnected(self):
        return False

    def disconnect(self):
        pass

    def connect(self, name, password):
        print("asked for", name)
"""
ONEWIRE = f"""
import time
from hardware.simulated.clock import Clock
from hardware.simulated.ds18b20 import Ds18b20
from hardware.simulated.one_wire import Line

class Real(Clock):
    def now_ms(self):
        return time.time_ns() // 1_000_000

    def sleep_ms(self, duration_ms):
        time.sleep(duration_ms / 1000)

clock = Real()

class OneWire:
    def __init__(self, pin):
        assert pin.number == 15
        line = Line([Ds18b20(bytes.fromhex("{ROMS[0]}"), 31.0625, clock)])
        self.reset, self.writebit, self.readbit = line.reset, line.write_bit, line.read_bit
"""
SETTINGS: dict[str, object] = {
    "name": "shelf",
    "one_wire_pins": [15],
    "i2c": {"sda": 4, "scl": 5},
    "sht": {"0x44": "SHT4x"},
    "every_seconds": 5,
}


class BoardFiles:
    """A board's files, and the board when it is on."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        shutil.copytree(ROOT / "hardware" / "node", folder / "node")
        shutil.copy(ROOT / "hardware" / "node" / "main.py", folder)
        for name, text in (("machine", MACHINE), ("network", NETWORK), ("onewire", ONEWIRE)):
            (folder / f"{name}.py").write_text(text)
        self._process: subprocess.Popen[bytes] | None = None

    def switch_on(self, settings: object) -> None:
        (self.folder / "node.json").write_text(json.dumps(settings))
        with (self.folder / "usb").open("wb") as usb:
            self._process = subprocess.Popen(
                [micropython_path(), "main.py"],
                cwd=self.folder,
                stdout=usb,
                stderr=usb,
                env={**os.environ, "MICROPYPATH": f"{self.folder}:.frozen:{ROOT}"},
            )

    def usb(self) -> list[bytes]:
        """The whole lines that came over USB."""
        return (self.folder / "usb").read_bytes().split(b"\n")[:-1]

    def switch_off(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[BoardFiles]:
    made = BoardFiles(tmp_path)
    yield made
    made.switch_off()


def test_it_reads_and_speaks_over_usb(board: BoardFiles) -> None:
    """Also where the I2C bus is held when it begins."""
    board.switch_on(SETTINGS)
    assert eventually(lambda: len(board.usb()) >= 2, 20), board.usb()
    _, line = board.usb()[:2]
    heard = {
        (one.probe, one.quantity): one.raw for one in decode(decode_line(line).encode(), 0).measured
    }
    # An ESP32's MAC address as an EUI-64, as in RFC 9039's own example (read in quotation).
    air = "urn:dev:mac:0024befffe804ff1_sht-0000002a"
    assert heard == {
        ("urn:dev:ow:28a1b2c3d4e5f6ac", Quantity.TEMPERATURE): 31.0625,
        (air, Quantity.TEMPERATURE): 25.0,
        (air, Quantity.HUMIDITY): 54.9998,
    }
    assert eventually((board.folder / "fed").exists, 5)


def test_wrong_settings_are_said_over_usb(board: BoardFiles) -> None:
    board.switch_on({**SETTINGS, "every_seconds": 1})
    assert eventually(lambda: len(board.usb()) >= 1, 20)
    told = b"node.json: every_seconds: has to be a whole number from 5 to 600"
    assert board.usb() == [told]


def test_a_pin_that_the_board_has_not_is_said_before_the_watchdog_wakes(board: BoardFiles) -> None:
    board.switch_on({**SETTINGS, "one_wire_pins": [77]})
    assert eventually(lambda: len(board.usb()) >= 1, 20)
    assert board.usb() == [b"node.json: a pin cannot be used on this board: invalid pin"]
    assert not (board.folder / "fed").exists()


SPEAKS_MQTT: dict[str, object] = {
    **SETTINGS,
    "speak": "mqtt",
    "wifi": {"name": "home", "password": "x"},
    "mqtt": {"host": "127.0.0.1"},
}


def test_a_radio_that_fails_is_a_fault_and_not_the_end(board: BoardFiles) -> None:
    """An ESP32 says RuntimeError of what it has no other word for (esp_wifi's unknown errors)."""
    fails = "raise RuntimeError('Wifi Unknown Error 0x0102')"
    radio = NETWORK.replace('print("asked for", name)', fails)
    assert radio != NETWORK
    (board.folder / "network.py").write_text(radio)
    board.switch_on(SPEAKS_MQTT)
    told = b"broker: Wi-Fi: Wifi Unknown Error 0x0102"
    assert eventually(lambda: board.usb().count(told) >= 2, 20), board.usb()
    assert not any(b"Traceback" in line for line in board.usb())


def test_a_radio_that_does_not_start_is_said_before_the_watchdog_wakes(board: BoardFiles) -> None:
    radio = NETWORK.replace("pass", "raise OSError('WiFi Out of Memory')", 1)
    assert radio != NETWORK
    (board.folder / "network.py").write_text(radio)
    board.switch_on(SPEAKS_MQTT)
    assert eventually(lambda: len(board.usb()) >= 1, 20)
    assert board.usb() == [b"this board's Wi-Fi cannot be started: WiFi Out of Memory"]
    assert not (board.folder / "fed").exists()


def test_without_wifi_it_reads_on_and_says_so(board: BoardFiles) -> None:
    board.switch_on(SPEAKS_MQTT)
    told = b"broker: Wi-Fi: home does not answer"
    assert eventually(lambda: told in board.usb(), 40), board.usb()
    assert not any(b"Traceback" in line for line in board.usb())
    # The time's task and the broker's both want it: they do not throw each other out.
    assert board.usb().index(told) > 0
    assert board.usb()[: board.usb().index(told)].count(b"asked for home") == 1
