"""An I2C bus: devices by address, and no answer where there is none."""

from hardware.node.sht import I2c

HELD = 116
"""ETIMEDOUT, which MicroPython says of a wire that does not rise."""
NO_ACKNOWLEDGE = 19
"""The number of the OSError (ENODEV) with which MicroPython says that nobody acknowledged."""


def nobody() -> OSError:
    """The error of a transfer that nobody acknowledged."""
    return OSError(NO_ACKNOWLEDGE)


class Device:
    """Something at an address."""

    plugged = True

    def write(self, data: bytes) -> None:
        """The master wrote. Raises OSError where the device does not acknowledge."""
        raise NotImplementedError

    def read(self, count: int) -> bytes:
        """The master reads. Raises OSError where the device does not acknowledge."""
        raise NotImplementedError


class Bus(I2c):
    """The bus; its methods are those of MicroPython's I2C that the firmware uses."""

    def __init__(self, devices: dict[int, Device]) -> None:
        self.devices = devices
        self.held_clocks = 0
        """So many clocks until a sensor that was interrupted lets go of the data wire."""

    def writeto(self, address: int, data: bytes) -> int:
        """Write `data`; returns how many bytes were acknowledged. Raises OSError."""
        self._at(address).write(data)
        return len(data)

    def readfrom(self, address: int, count: int) -> bytes:
        """Read `count` bytes. Raises OSError."""
        return self._at(address).read(count)

    def clear(self) -> None:
        """Nine clocks by hand (UM10204 §3.1.16)."""
        self.held_clocks = max(0, self.held_clocks - 9)

    def _at(self, address: int) -> Device:
        if self.held_clocks:
            raise OSError(HELD)
        device = self.devices.get(address)
        if device is None or not device.plugged:
            raise nobody()
        return device
