"""A 1-Wire line as its devices see it: reset pulses, and slots of one bit.

The line is pulled up: it is low while anyone pulls it low, so that two devices that speak at
once give the AND of their bits. That is what a search is made of.
"""

from hardware.node.one_wire import Line as PlainLine


def crc8_dow(data: bytes) -> int:
    """The 1-Wire CRC as the shift register of the DS18B20 datasheet (X8 + X5 + X4 + 1).

    Bit by bit like the figure there, and on purpose not the firmware's own code.
    """
    register = 0
    for byte in data:
        for place in range(8):
            feedback = (register ^ byte >> place) & 1
            register >>= 1
            if feedback:
                register ^= 0x8C
    return register


class Device:
    """Something on the line. It is told of every reset and slot."""

    plugged = True

    def reset(self) -> None:
        """A reset pulse came: start over and wait for a command."""
        raise NotImplementedError

    def hear(self, bit: int) -> None:
        """The master wrote a bit."""
        raise NotImplementedError

    def say(self) -> int:
        """The master reads: 0 pulls the line low, 1 leaves it."""
        raise NotImplementedError


class Line(PlainLine):
    """The line with its devices. `shorted`: the data wire touches ground.

    `flip_read` spoils one of the coming read slots (0 is the next one); None spoils none.
    """

    def __init__(self, devices: list[Device]) -> None:
        self.devices = devices
        self.shorted = False
        self.flip_read: int | None = None

    def reset(self) -> bool:
        """A reset pulse; True when the line was low afterwards, which looks like a presence."""
        for device in self._plugged():
            device.reset()
        return self.shorted or len(self._plugged()) > 0

    def write_bit(self, bit: int) -> None:
        """A write slot. A shorted line carries zeros only, and devices then hear none of it."""
        if not self.shorted:
            for device in self._plugged():
                device.hear(bit)

    def read_bit(self) -> int:
        """A read slot."""
        bit = 1
        for device in self._plugged():
            bit &= device.say()
        if self.shorted:
            return 0
        if self.flip_read is not None:
            self.flip_read -= 1
            if self.flip_read < 0:
                self.flip_read = None
                return bit ^ 1
        return bit

    def _plugged(self) -> list[Device]:
        return [device for device in self.devices if device.plugged]
