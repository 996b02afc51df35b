"""A DS18B20, bit by bit, as its datasheet describes it."""

from .clock import Clock
from .one_wire import Device, crc8_dow

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Callable

_READ_ROM, _MATCH, _SKIP, _SEARCH, _ALARM_SEARCH = 0x33, 0x55, 0xCC, 0xF0, 0xEC
_CONVERT, _READ_PAD, _WRITE_PAD, _COPY, _RECALL, _POWER = 0x44, 0xBE, 0x4E, 0x48, 0xB8, 0xB4
_POWER_ON = 0x0550  # +85 °C (table 1 and its footnote)
_RESERVED = b"\xff\x0c\x10"  # bytes 5 to 7 of the memory map
_CONVERSION_MS = 750  # at 12 bits, the longest; half of it for each bit less (table 2)


class Ds18b20(Device):
    """One sensor. `celsius` is what it feels; `rom` its eight bytes, the CRC appended if left out.

    `spoilt`: its contact is so bad that the CRC of its scratchpad is always wrong. `conversions`
    counts what warms it.

    `parasite`: its supply wire is broken or not there, so that it lives on the data line. With a
    plain pull-up that is too little for a conversion: it starts over, as after a power cut.
    """

    def __init__(self, rom: bytes, celsius: float, clock: Clock) -> None:
        self.rom = rom + bytes([crc8_dow(rom)]) if len(rom) == 7 else rom
        self._rom_bits = _bits(self.rom)
        self.celsius = celsius
        self.parasite = False
        self.spoilt = False
        self.conversions = 0
        self.alarms = b"\x4b\x46"  # TH and TL in its EEPROM, and the configuration behind them
        self.stored_configuration = 0x7F
        self._clock = clock
        self.power_cut()

    @property
    def conversion_ms(self) -> int:
        """How long a conversion takes at the resolution that is set, in ms (table 2)."""
        return _CONVERSION_MS >> 3 - (self._pad[4] >> 5)

    def power_cut(self) -> None:
        """Power went and came: the scratchpad is as at power-up, from the EEPROM."""
        self._pad = bytearray(9)
        self._pad[0:2] = bytes([_POWER_ON & 0xFF, _POWER_ON >> 8])
        self._pad[2:4] = self.alarms
        self._pad[4] = self.stored_configuration
        self._pad[5:8] = _RESERVED
        self._ready_ms: int | None = None
        self.reset()
        self._silent = True  # it has not seen a reset pulse yet

    def unplug(self) -> None:
        """Its plug is pulled."""
        self.plugged = False

    def plug(self) -> None:
        """It is plugged in, and powers up."""
        if not self.plugged:
            self.plugged = True
            self.power_cut()

    def convert(self) -> None:
        """Begin a conversion: the command 44h."""
        if self.parasite:
            self.power_cut()
            return
        self.conversions += 1
        self._ready_ms = self._clock.now_ms() + self.conversion_ms

    def scratchpad(self) -> bytes:
        """The nine bytes that it has to say just now: the command BEh."""
        self._finish()
        self._pad[8] = crc8_dow(bytes(self._pad[:8])) ^ (0xFF if self.spoilt else 0)
        return bytes(self._pad)

    # ---- the line --------------------------------------------------------------------------------

    def reset(self) -> None:
        """Wait for a ROM command."""
        self._silent = False
        self._act: Callable[[bytes], None] = self._rom_command
        self._heard: list[int] = []
        self._wanted = 8
        self._speech: list[int] = []
        self._search_place = -1

    def hear(self, bit: int) -> None:
        """A bit from the master."""
        if self._silent:
            return
        if self._search_place >= 0:
            self._search_step(bit)
            return
        self._heard.append(bit)
        if len(self._heard) == self._wanted:
            heard, self._heard = _bytes(self._heard), []
            self._act(heard)

    def say(self) -> int:
        """A read slot: what it has to say, else the line is left alone."""
        if self._silent:
            return 1
        if self._speech:
            return self._speech.pop(0)
        self._finish()
        return 0 if self._ready_ms is not None else 1

    # ---- commands --------------------------------------------------------------------------------

    def _rom_command(self, heard: bytes) -> None:
        command = heard[0]
        if command == _SKIP:
            self._expect(self._function, 1)
        elif command == _MATCH:
            self._expect(self._matched, 8)
        elif command == _READ_ROM:
            self._speech = _bits(self.rom)
            self._expect(self._function, 1)
        elif command == _SEARCH:
            self._search_place = 0
            self._offer()
        else:  # an alarm search too: no alarm is set here
            self._silent = True

    def _matched(self, heard: bytes) -> None:
        self._silent = heard != self.rom
        self._expect(self._function, 1)

    def _offer(self) -> None:
        bit = self._rom_bits[self._search_place]
        self._speech = [bit, bit ^ 1]

    def _search_step(self, direction: int) -> None:
        if direction != self._rom_bits[self._search_place]:
            self._silent = True
            return
        self._search_place += 1
        if self._search_place == 64:
            self._search_place = -1
            self._expect(self._function, 1)
        else:
            self._offer()

    def _function(self, heard: bytes) -> None:
        command = heard[0]
        self._finish()
        if command == _CONVERT:
            self.convert()
        elif command == _READ_PAD:
            self._speech = _bits(self.scratchpad())
        elif command == _WRITE_PAD:
            self._expect(self._write_pad, 3)
        elif command == _COPY:
            self.alarms, self.stored_configuration = bytes(self._pad[2:4]), self._pad[4]
        elif command == _RECALL:
            self._pad[2:4], self._pad[4] = self.alarms, self.stored_configuration
        elif command == _POWER:
            self._speech = [0 if self.parasite else 1]

    def _write_pad(self, heard: bytes) -> None:
        self._pad[2:4] = heard[:2]
        self._pad[4] = heard[2] & 0x60 | 0x1F  # the other bits cannot be written (figure 8)

    def _expect(self, act: "Callable[[bytes], None]", count: int) -> None:
        self._act, self._wanted = act, 8 * count

    def _finish(self) -> None:
        if self._ready_ms is None or self._clock.now_ms() < self._ready_ms:
            return
        self._ready_ms = None
        register = round(self.celsius * 16) & 0xFFFF
        undefined = (1 << 3 - (self._pad[4] >> 5)) - 1
        register |= undefined
        self._pad[0:2] = bytes([register & 0xFF, register >> 8])


def _bits(data: bytes) -> list[int]:
    """Lowest bit first, as they go over the line."""
    return [byte >> place & 1 for byte in data for place in range(8)]


def _bytes(bits: list[int]) -> bytes:
    found = bytearray(len(bits) // 8)
    for place, bit in enumerate(bits):
        found[place // 8] |= bit << place % 8
    return bytes(found)
