"""SHT3x and SHT4x: one measurement at a time, with the sensor asleep in between.

The built-in heater stays off: a reset at the start and after every fault takes away whatever
something else had switched on.
"""

import asyncio

from .crc import crc8_sht
from .words import CELSIUS, HUMIDITY, NoReading, Said, Sensors

_RESET_S = 0.003  # SHT3x: 1.5 ms (datasheets, from memory); a sleep may be nearly 1 ms short
_TRIES = 3


class I2c:
    """The bus as pins make it; the methods are those of MicroPython's own class."""

    def writeto(self, address: int, data: bytes) -> int:
        """Write. Raises OSError where nobody acknowledges."""
        raise NotImplementedError

    def readfrom(self, address: int, count: int) -> bytes:
        """Read. Raises OSError where nobody acknowledges."""
        raise NotImplementedError

    def clear(self) -> None:
        """Free the data wire from a sensor that missed a clock and holds it (UM10204 §3.1.16)."""
        raise NotImplementedError


class Kind:
    """What a kind of sensor is told, how long it takes, and what it means by its ticks."""

    def __init__(
        self,
        *,
        measure: bytes,
        wait_s: float,
        reset: bytes,
        serial: bytes,
        humidity: tuple[int, int],
    ) -> None:
        self.measure = measure
        self.wait_s = wait_s
        self.reset = reset
        self.serial = serial
        self.low_pct, self.span_pct = humidity


# High repeatability, without clock stretching, and the longest time of the datasheets with some
# room. (SHT3x serial number: from memory.)
KINDS = {
    "SHT3x": Kind(
        measure=b"\x24\x00", wait_s=0.017, reset=b"\x30\xa2", serial=b"\x36\x82", humidity=(0, 100)
    ),
    "SHT4x": Kind(measure=b"\xfd", wait_s=0.010, reset=b"\x94", serial=b"\x89", humidity=(-6, 125)),
}


def words(answer: bytes) -> tuple[int, int]:
    """The two words of an answer of six bytes. Raises NoReading when a CRC is wrong."""
    if len(answer) != 6:
        raise NoReading("wrong checksum")
    for start in (0, 3):
        if crc8_sht(answer[start : start + 2]) != answer[start + 2]:
            raise NoReading("wrong checksum")
    return answer[0] << 8 | answer[1], answer[3] << 8 | answer[4]


def celsius_e4(ticks: int) -> int:
    """Temperature in 1/10,000 °C: −45 + 175·S/65535 (both datasheets)."""
    return -450_000 + _rounded(1_750_000 * ticks)


def humidity_e4(ticks: int, kind: Kind) -> int:
    """Relative humidity in 1/10,000 %, cut to 0–100 % as the SHT4x datasheet says.

    SHT3x: 100·S/65535; SHT4x: −6 + 125·S/65535.
    """
    value = kind.low_pct * 10_000 + _rounded(kind.span_pct * 10_000 * ticks)
    return max(0, min(value, 1_000_000))


def _rounded(times_65535: int) -> int:
    return (times_65535 + 32767) // 65535


class Sht(Sensors):
    """One sensor at its address.

    It is known by the board and its own serial number, as `urn:dev:mac:<board>_sht-<serial>`;
    `board` is the board's name, and `place` what it is called before it has told its number.
    """

    def __init__(self, bus: I2c, address: int, kind: Kind, board: str) -> None:
        self._bus = bus
        self._address = address
        self._kind = kind
        self._board = board
        self._place = f"{board}_sht-at-{address:02x}"
        self._name: str | None = None
        self._fresh = True

    async def read(self, said: Said) -> None:
        """Measure once."""
        for left in range(_TRIES - 1, -1, -1):
            try:
                name = await self._meet()
                first, second = words(await self._ask(self._kind.measure, self._kind.wait_s))
            except OSError:
                self._bus.clear()
                self._fresh = True
                if not left:
                    self._lost(said, "no answer")
            except NoReading as fault:
                if not left:
                    self._lost(said, str(fault))
            else:
                said.reading(name, CELSIUS, celsius_e4(first))
                said.reading(name, HUMIDITY, humidity_e4(second, self._kind))
                return

    def _lost(self, said: Said, text: str) -> None:
        said.fault(self._name or self._place, text)
        self._fresh = True

    async def _meet(self) -> str:
        """Its name. One that is new, or was away, is reset and asked: it may be another."""
        if self._fresh or self._name is None:
            self._bus.writeto(self._address, self._kind.reset)
            await asyncio.sleep(_RESET_S)
            first, second = words(await self._ask(self._kind.serial, _RESET_S))
            self._name = f"{self._board}_sht-{first:04x}{second:04x}"
            self._fresh = False
        return self._name

    async def _ask(self, command: bytes, wait_s: float) -> bytes:
        self._bus.writeto(self._address, command)
        await asyncio.sleep(wait_s)
        return self._bus.readfrom(self._address, 6)
