"""DS18B20 probes on a 1-Wire line: one conversion for all of them, then one scratchpad each.

A sensor that was without power, be it for a moment, has forgotten its conversion and says
+85 °C. So each is given a mark: its two alarm bytes, which it forgets with the rest and which
nothing here needs. A scratchpad without the mark is no reading.
"""

import asyncio

from . import one_wire
from .crc import crc8_dow
from .one_wire import Line
from .words import CELSIUS, NoReading, Said, Sensors

FAMILY = 0x28
_MATCH, _SKIP = 0x55, 0xCC
_CONVERT, _READ_PAD, _WRITE_PAD, _POWER = 0x44, 0xBE, 0x4E, 0xB4
_CONVERSION_S = 0.76
"""At 12 bits 750 ms at most (datasheet, table 2)."""
_MARK = b"\x57\x43"
_TWELVE_BITS = 0x7F
_TRIES = 3
_SIXTEENTH_E4 = 625


def name_of(rom: bytes) -> str:
    """The device name of a sensor (RFC 9039): its ROM as it comes over the line."""
    return "urn:dev:ow:" + rom.hex()


def celsius_e4(pad: bytes) -> int:
    """Temperature in 1/10,000 °C of a scratchpad's nine bytes (datasheet, tables 1 and 2).

    Raises NoReading when the CRC is wrong, or the configuration byte is none: nine zeros (a
    shorted line) pass the CRC.
    """
    if len(pad) != 9 or crc8_dow(pad) != 0:
        raise NoReading("wrong checksum")
    configuration = pad[4]
    if configuration & 0x9F != 0x1F:
        raise NoReading("the data wire is shorted")
    register = pad[0] | pad[1] << 8
    if register & 0x8000:
        register -= 0x10000
    unused = 3 - (configuration >> 5)  # the lowest bits at less than 12 bits are undefined
    return (register >> unused << unused) * _SIXTEENTH_E4


class Chain(Sensors):
    """All DS18B20 on one line. They may come and go.

    `line_name` is what the line itself is called in faults that are nobody's in particular.
    """

    def __init__(self, line: Line, line_name: str) -> None:
        self._line = line
        self._line_name = line_name
        self._known: list[bytes] = []

    async def read(self, said: Said) -> None:
        """Search, let all convert, and read each."""
        try:
            self._search()
            for rom in self._known:
                self._mark(rom)
        except NoReading as fault:
            said.fault(self._line_name, str(fault))
        if not self._convert():
            for rom in self._known:
                said.fault(name_of(rom), "no answer")
            return
        await asyncio.sleep(_CONVERSION_S)
        for rom in self._known:
            try:
                said.reading(name_of(rom), CELSIUS, self._read(rom))
            except NoReading as fault:
                said.fault(name_of(rom), str(fault))

    def _search(self) -> None:
        """Get to know who is new. Who is gone stays known, and is a fault until it is back.

        Raises NoReading, of the line: it is shorted, has too many, or never had one.
        """
        for rom in one_wire.search(self._line):
            if rom[0] == FAMILY and rom not in self._known:
                if len(self._known) == one_wire.MOST_DEVICES:
                    raise NoReading(f"more than {one_wire.MOST_DEVICES} probes")
                self._known.append(rom)
        if not self._known:
            raise NoReading("no probe answers")

    def _mark(self, rom: bytes) -> None:
        """Give a sensor the mark, and 12 bits, unless it has them."""
        try:
            pad = self._pad(rom)
        except NoReading:
            return  # said when it is read
        if pad[2:5] != _MARK + bytes([_TWELVE_BITS]) and self._select(rom):
            one_wire.write(self._line, bytes([_WRITE_PAD]) + _MARK + bytes([_TWELVE_BITS]))

    def _convert(self) -> bool:
        if not self._line.reset():
            return False
        one_wire.write(self._line, bytes([_SKIP, _CONVERT]))
        return True

    def _read(self, rom: bytes) -> int:
        pad = self._pad(rom)
        value_e4 = celsius_e4(pad)
        if pad[2:4] == _MARK:
            return value_e4
        if self._parasite(rom):
            raise NoReading("no supply: check its red wire")
        raise NoReading("lost power while it measured")

    def _pad(self, rom: bytes) -> bytes:
        """The scratchpad, read again where the line spoilt it."""
        for left in range(_TRIES - 1, -1, -1):
            if not self._select(rom):
                raise NoReading("no answer")
            one_wire.write(self._line, bytes([_READ_PAD]))
            pad = one_wire.read(self._line, 9)
            if pad == b"\xff" * 9:
                raise NoReading("no answer")
            try:
                celsius_e4(pad)
            except NoReading:
                if not left:
                    raise
            else:
                break
        return pad

    def _parasite(self, rom: bytes) -> bool:
        if not self._select(rom):
            return False
        one_wire.write(self._line, bytes([_POWER]))
        return self._line.read_bit() == 0

    def _select(self, rom: bytes) -> bool:
        if not self._line.reset():
            return False
        one_wire.write(self._line, bytes([_MATCH]) + rom)
        return True
