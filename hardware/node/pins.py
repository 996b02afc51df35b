"""The board itself: pins, Wi-Fi, watchdog, USB. The only module that needs real hardware."""

import asyncio
import sys
import time

import machine
import network
from onewire import OneWire

from . import ds18b20, node, one_wire, publisher, sht
from .settings import Settings
from .talker import Port
from .words import Sensors

WATCHDOG_MS = 8000
"""The RP2040's longest is 8,388 ms (its datasheet)."""
_I2C_HZ = 50_000  # slow: the wires to a probe are long for a bus that is meant for one board
_WIFI_S = 20
_EPOCH_S = 946_684_800 if time.gmtime(0)[0] == 2000 else 0
"""Where this board's count of seconds begins: an ESP32's in 2000."""


class PinLine(one_wire.Line):
    """A 1-Wire line on a pin. The timing of its slots is MicroPython's own, in C."""

    def __init__(self, pin: int) -> None:
        self._line = OneWire(machine.Pin(pin))

    def reset(self) -> bool:
        """A reset pulse."""
        return bool(self._line.reset())

    def write_bit(self, bit: int) -> None:
        """A write slot."""
        self._line.writebit(bit)

    def read_bit(self) -> int:
        """A read slot."""
        return int(self._line.readbit())


class PinBus(sht.I2c):
    """An I2C bus on two pins."""

    def __init__(self, sda: int, scl: int) -> None:
        self._sda, self._scl = sda, scl
        self._open()

    def _open(self) -> None:
        sda, scl = machine.Pin(self._sda), machine.Pin(self._scl)
        self._bus = machine.SoftI2C(sda=sda, scl=scl, freq=_I2C_HZ)

    def writeto(self, address: int, data: bytes) -> int:
        """Write. Raises OSError where nobody acknowledges."""
        return int(self._bus.writeto(address, data))

    def readfrom(self, address: int, count: int) -> bytes:
        """Read. Raises OSError where nobody acknowledges."""
        return bytes(self._bus.readfrom(address, count))

    def clear(self) -> None:
        """Nine clocks by hand, or as many as it takes for the data wire to rise."""
        sda = machine.Pin(self._sda, machine.Pin.IN)
        scl = machine.Pin(self._scl, machine.Pin.OPEN_DRAIN, value=1)
        for _ in range(9):
            if sda.value():
                break
            for level in (0, 1):
                scl.value(level)
                time.sleep_us(10)  # type: ignore[attr-defined]  # MicroPython's
        self._open()


class Wifi(publisher.Network):
    """The home's network."""

    def __init__(self, name: str, password: str) -> None:
        self._name, self._password = name, password
        self._joining = asyncio.Lock()
        self._stale = False
        self._radio = network.WLAN(network.STA_IF)
        self._radio.active(True)

    async def ensure(self) -> None:
        """Join it unless that is done. Raises OSError when it does not come up.

        One at a time: who joins while another does would throw that one out again.
        """
        async with self._joining:
            await self._join()

    def again(self) -> None:
        """Leave it, and join anew next time."""
        self._stale = True

    def name_server(self) -> str:
        """What it gave out by DHCP."""
        return str(self._radio.ifconfig()[3])

    async def _join(self) -> None:
        if self._radio.isconnected() and not self._stale:
            return
        self._stale = False
        try:
            self._radio.disconnect()
            self._radio.connect(self._name, self._password)
        except RuntimeError as fault:  # an ESP32's word where it has no other
            raise OSError(f"Wi-Fi: {fault}") from None
        for _ in range(_WIFI_S * 10):
            if self._radio.isconnected():
                return
            await asyncio.sleep(0.1)
        raise OSError(f"Wi-Fi: {self._name} does not answer")


class Pins(node.Board):
    """The board."""

    def __init__(self, settings: Settings) -> None:
        self.name = "urn:dev:mac:" + _eui64(machine.unique_id())
        if settings.speak == "mqtt":
            self.network = Wifi(str(settings.wifi["name"]), str(settings.wifi.get("password", "")))
        self._speaks_here = settings.speak == "serial"
        self._port = Port(sys.stdout.buffer)
        self._watchdog: machine.WDT | None = None

    def sensors(self, settings: Settings) -> list[Sensors]:
        """DS18B20 on each 1-Wire pin, and the SHT sensors on the I2C bus."""
        found: list[Sensors] = [
            ds18b20.Chain(PinLine(pin), f"{self.name}_pin-{pin}") for pin in settings.one_wire_pins
        ]
        if settings.sht:
            bus = PinBus(int(str(settings.i2c["sda"])), int(str(settings.i2c["scl"])))
            for address, kind in sorted(settings.sht.items()):
                found.append(sht.Sht(bus, address, sht.KINDS[kind], self.name))
        return found

    def feed(self) -> None:
        """Feed the watchdog, which sleeps until it is fed first: nothing can call it off."""
        if self._watchdog is None:
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._watchdog.feed()

    def write(self, data: bytes) -> bool:
        """Write to the USB serial line."""
        return self._port.write(data)

    def tell_time(self, unix_ms: int) -> None:
        """Set the board's own clock."""
        now = time.gmtime(unix_ms // 1000 - _EPOCH_S)
        machine.RTC().datetime((now[0], now[1], now[2], now[6], now[3], now[4], now[5], 0))

    def log(self, text: str) -> None:
        """A line over USB, unless readings go there."""
        if not self._speaks_here:
            self._port.write(b"%s\n" % text.encode())


def _eui64(identity: bytes) -> str:
    """The board's own number as an EUI-64.

    An ESP32 tells its 48-bit MAC address, which RFC 9039 §4.1 widens with ff fe in the middle; an
    RP2040 tells eight bytes of its flash chip, made a locally administered number here.
    """
    if len(identity) == 6:
        identity = identity[:3] + b"\xff\xfe" + identity[3:]
    else:
        identity = bytes([identity[0] & 0xFC | 0x02]) + identity[1:8]
    return identity.hex()
