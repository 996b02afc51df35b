"""DS18B20 probes on the board itself, through the files of the Linux 1-Wire driver.

Reading a file makes the driver start a conversion and wait for it (750 ms). A probe that does
not answer gives nothing at all, never a number.
"""

from __future__ import annotations

import logging
import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

from crccheck.crc import Crc8MaximDow

from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.measured import Decoded, Measured
from collector.readings import Quantity
from collector.sources.source import Source
from config.errors import BadPayload

log = logging.getLogger("collector")

_FAMILY = "28"
"""The 1-Wire family code of the DS18B20, in hex."""
_DEVICE = re.compile(rf"{_FAMILY}-([0-9a-f]{{12}})")
_SCRATCHPAD = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
_MILLI = re.compile(r"-?[0-9]{1,6}")
_MOST_BYTES = 1024


# ---- decoding, without I/O -------------------------------------------------------------------


def probe_of(device: str) -> str:
    """The RFC 9039 name of the driver's device folder, such as 28-0000071c2f2a.

    The driver writes the serial number highest byte first. RFC 9039 takes the eight bytes as
    they come over the wire: family code, serial number lowest byte first, and their CRC-8.
    """
    match = _DEVICE.fullmatch(device)
    if match is None:
        raise BadPayload(f"{device}: not the name of a DS18B20")
    rom = bytes.fromhex(_FAMILY) + bytes.fromhex(match[1])[::-1]
    return f"urn:dev:ow:{rom.hex()}{Crc8MaximDow.calc(rom):02x}"


def scratchpad_c(scratchpad: bytes) -> float:
    """Temperature in °C of a DS18B20's nine scratchpad bytes (datasheet, tables 1 and 2).

    Raises BadPayload when the CRC is wrong, or the configuration byte is none: nine zero bytes
    (a shorted line) pass the CRC and would read 0.0 °C. Of the other reserved bytes nothing is
    asked: compatible parts fill them differently (from memory).
    """
    if len(scratchpad) != 9:
        raise BadPayload(f"the scratchpad has {len(scratchpad)} bytes, not 9")
    if Crc8MaximDow.calc(scratchpad[:8]) != scratchpad[8]:
        raise BadPayload("the scratchpad's CRC is wrong")
    configuration = scratchpad[4]
    if configuration & 0b1001_1111 != 0b0001_1111:
        raise BadPayload("the scratchpad's reserved bits are wrong: the data line may be shorted")
    unused_bits = 3 - (configuration >> 5)  # 9 to 12 bits of resolution; the rest is undefined
    sixteenths = int.from_bytes(scratchpad[:2], "little", signed=True)
    return (sixteenths >> unused_bits << unused_bits) / 16.0


def temperature_c(text: str) -> float:
    """Temperature in °C from a `w1_slave` file (two lines), or a `temperature` file (m°C).

    Raises BadPayload, one line, when the driver or the scratchpad says that it is none.
    """
    match = _SCRATCHPAD.search(text)
    if match is not None:
        if match[2] != "YES":
            raise BadPayload("the driver says that the CRC is wrong")
        return scratchpad_c(bytes.fromhex(match[1]))
    bare = text.strip(" \t\r\n")  # not every space that Unicode knows: int() knows fewer
    if _MILLI.fullmatch(bare) is None:
        raise BadPayload("the probe did not answer" if not bare else "not a reading")
    return int(bare) / 1000.0


def decode(payload: bytes, device: str) -> Decoded:
    """The measurement in what the driver's file said. Raises BadPayload."""
    value = temperature_c(payload.decode("ascii", errors="replace"))
    return Decoded([Measured(probe_of(device), Quantity.TEMPERATURE, value)])


# ---- reading the files -----------------------------------------------------------------------


class OneWire(Source):
    """Reads all DS18B20 under one folder, one after the other, every so often."""

    name = "1-wire"

    def __init__(
        self,
        folder: Path,
        every_seconds: float,
        inbox: Inbox,
        counts: Counts,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder = folder
        self._every_seconds = every_seconds
        self._inbox = inbox
        self._counts = counts
        self._monotonic = monotonic
        self._seen: set[str] = set()

    def run(self, stop: threading.Event) -> None:
        """Read until `stop`."""
        while not stop.is_set():
            started_s = self._monotonic()
            self.read_all(stop)
            stop.wait(max(0.0, self._every_seconds - (self._monotonic() - started_s)))
        self._counts.connection(self.name, up=False)

    def read_all(self, stop: threading.Event) -> None:
        """Read every probe once."""
        devices = self._devices()
        self._counts.connection(self.name, up=bool(devices))
        for device in devices:
            if stop.is_set():
                return
            self._read(device)
        for device in self._seen - set(devices):
            self._counts.drop(self.name, "no answer", f"{device} is gone from the bus")
        self._seen.update(devices)

    def _devices(self) -> list[str]:
        try:
            names = [entry.name for entry in self._folder.iterdir()]
        except OSError as fault:
            self._counts.drop(self.name, "no bus", f"{self._folder}: {fault.strerror}")
            return []
        return sorted(name for name in names if _DEVICE.fullmatch(name))

    def _read(self, device: str) -> None:
        for file in ("w1_slave", "temperature"):
            path = self._folder / device / file
            try:
                with path.open("rb") as opened:
                    payload = opened.read(_MOST_BYTES)
            except FileNotFoundError:
                continue
            except OSError as fault:
                self._counts.drop(self.name, "no answer", f"{device}: {fault.strerror}")
                return
            self._inbox.put(Frame(self.name, payload, self._monotonic(), label=device))
            return
        self._counts.drop(self.name, "no answer", f"{device}: no file to read")
