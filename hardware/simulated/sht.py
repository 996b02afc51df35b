"""SHT3x and SHT4x at the level of their datasheets: commands, waits, a CRC behind every word."""

from .clock import Clock
from .i2c import Device, nobody

_MEASURE_3X = {  # (SHT3x datasheet, tables 4 and 9): longest time in ms, clock stretching
    0x2400: (15, False),
    0x240B: (6, False),
    0x2416: (4, False),
    0x2C06: (15, True),
    0x2C0D: (6, True),
    0x2C10: (4, True),
}
_MEASURE_4X = {0xFD: 9, 0xF6: 5, 0xE0: 2}
"""SHT4x datasheet: longest time in ms, rounded up."""


def crc8_sht(data: bytes) -> int:
    """CRC-8 of a word, as both datasheets describe it: polynomial 31h, start FFh, bit by bit."""
    register = 0xFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register << 1 ^ 0x31 if register & 0x80 else register << 1
        register &= 0xFF
    return register


class Sht(Device):
    """What both kinds have in common. `celsius` and `humidity_pct` are what the sensor feels.

    `heated` counts the times its built-in heater was switched on: a node must never do that.
    `spoil` breaks the CRC of so many answers to come.
    """

    humidity_span = (0.0, 100.0)
    """%RH at 0000h and at FFFFh."""

    def __init__(self, celsius: float, humidity_pct: float, serial: int, clock: Clock) -> None:
        self.celsius, self.humidity_pct, self.serial = celsius, humidity_pct, serial
        self.heated = 0
        self.spoil = 0
        self._clock = clock
        self._forget()

    def unplug(self) -> None:
        """Its plug is pulled: what it had measured is gone."""
        self.plugged = False
        self._forget()

    def plug(self) -> None:
        """It is plugged in."""
        self.plugged = True

    def _forget(self) -> None:
        self._answer: bytes | None = None
        self._ready_ms = 0
        self._stretching = False

    def read(self, count: int) -> bytes:
        """The answer to the last command; not acknowledged before it is there.

        With clock stretching the device holds the clock line instead until it is.
        """
        wait_ms = self._ready_ms - self._clock.now_ms()
        if self._answer is None or (wait_ms > 0 and not self._stretching):
            raise nobody()
        if wait_ms > 0:
            self._clock.sleep_ms(wait_ms)
        answer = bytearray(self._answer[:count])
        self._forget()
        if self.spoil:
            self.spoil -= 1
            answer[2] ^= 0xFF
        return bytes(answer)

    def _measure(self, took_ms: int, stretching: bool = False) -> None:
        low, high = self.humidity_span
        share = (self.humidity_pct - low) / (high - low)
        self._say(_ticks((self.celsius + 45) / 175), _ticks(share), took_ms)
        self._stretching = stretching

    def _say(self, first: int, second: int, after_ms: int = 0) -> None:
        self._answer = _word(first) + _word(second)
        self._ready_ms = self._clock.now_ms() + after_ms
        self._stretching = False

    def _say_serial(self) -> None:
        self._say(self.serial >> 16, self.serial & 0xFFFF)


class Sht3x(Sht):
    """SHT30, SHT31, SHT35: commands of two bytes."""

    _SERIAL = (0x3780, 0x3682)
    _RESET, _HEAT = 0x30A2, 0x306D

    def write(self, data: bytes) -> None:
        """A command."""
        if len(data) != 2:
            raise nobody()
        command = data[0] << 8 | data[1]
        self._forget()
        if command in _MEASURE_3X:
            self._measure(*_MEASURE_3X[command])
        elif command in self._SERIAL:
            self._say_serial()
        elif command == self._HEAT:
            self.heated += 1
        elif command != self._RESET:
            raise nobody()


class Sht4x(Sht):
    """SHT40, SHT41, SHT45: commands of one byte, never any clock stretching."""

    humidity_span = (-6.0, 119.0)
    _SERIAL, _RESET = 0x89, 0x94
    _HEAT = (0x39, 0x32, 0x2F, 0x24, 0x1E, 0x15)

    def write(self, data: bytes) -> None:
        """A command."""
        if len(data) != 1:
            raise nobody()
        command = data[0]
        self._forget()
        if command in _MEASURE_4X:
            self._measure(_MEASURE_4X[command])
        elif command == self._SERIAL:
            self._say_serial()
        elif command in self._HEAT:
            self.heated += 1
        elif command != self._RESET:
            raise nobody()


def _ticks(share: float) -> int:
    return max(0, min(round(share * 65535), 65535))


def _word(value: int) -> bytes:
    two = bytes([value >> 8, value & 0xFF])
    return two + bytes([crc8_sht(two)])
