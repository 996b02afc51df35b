"""The 1-Wire line: slots, and the search for who is on it."""

from .crc import crc8_dow
from .words import NoReading

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Iterator

SEARCH_ROM = 0xF0
MOST_DEVICES = 32
"""On one line. Far more than a cable carries well; a bound for a line that makes devices up."""


class Line:
    """The line as pins make it. `pins` has the real one, tests a simulated one."""

    def reset(self) -> bool:
        """A reset pulse; True when someone answered it."""
        raise NotImplementedError

    def write_bit(self, bit: int) -> None:
        """A write slot."""
        raise NotImplementedError

    def read_bit(self) -> int:
        """A read slot."""
        raise NotImplementedError


def write(line: Line, data: bytes) -> None:
    """Write bytes, lowest bit first."""
    for byte in data:
        for place in range(8):
            line.write_bit(byte >> place & 1)


def read(line: Line, count: int) -> bytes:
    """Read `count` bytes."""
    found = bytearray(count)
    for place in range(8 * count):
        found[place >> 3] |= line.read_bit() << (place & 7)
    return bytes(found)


def search(line: Line) -> "Iterator[bytes]":
    """The ROMs of all devices, by the search of Maxim's application note 187.

    Where devices differ, the lower bit is followed first. A ROM with a wrong CRC is left out: a
    device that was plugged in meanwhile, or noise; the next search finds it. Raises NoReading
    when the line is shorted: it then reads zeros only, and zeros have a right CRC.
    """
    rom = bytearray(8)
    last_fork = 64
    for _ in range(MOST_DEVICES):
        if not line.reset():
            return
        write(line, bytes([SEARCH_ROM]))
        fork = -1
        for place in range(64):
            bit, other = line.read_bit(), line.read_bit()
            if bit and other:
                return  # nobody is left: they were unplugged meanwhile
            if not bit and not other:
                bit = _turn(rom, place, last_fork)
                if not bit:
                    fork = place
            _set(rom, place, bit)
            line.write_bit(bit)
        if not any(rom):
            raise NoReading("the data wire is shorted")
        found = bytes(rom)
        if crc8_dow(found) == 0:
            yield found
        if fork < 0:
            return
        last_fork = fork


def _turn(rom: bytearray, place: int, last_fork: int) -> int:
    """Which way to go at a fork: as last time before the last fork, the other way at it."""
    if place < last_fork < 64:
        return rom[place >> 3] >> (place & 7) & 1
    return 1 if place == last_fork else 0


def _set(rom: bytearray, place: int, bit: int) -> None:
    mask = 1 << (place & 7)
    rom[place >> 3] = rom[place >> 3] | mask if bit else rom[place >> 3] & ~mask
