"""The way out over USB serial: lines that are said once. Like any serial line it waits for nobody.

Readings go out as they are taken, without a time: who listens dates them.
"""

import select

from . import senml, serial_line
from .faults import Faults
from .words import Reading

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import BinaryIO

_PIECE = 64
_PATIENCE_MS = 200


class Port:
    """Where lines go: the board's USB serial line, which MicroPython has as standard output."""

    def __init__(self, out: "BinaryIO") -> None:
        self._out = out
        self._poll = select.poll()
        self._poll.register(out, select.POLLOUT)

    def write(self, data: bytes) -> bool:
        """Write in pieces; False when nobody took it in time. A piece of a line may be out then."""
        for start in range(0, len(data), _PIECE):
            if not self._poll.poll(_PATIENCE_MS):
                return False
            piece = data[start : start + _PIECE]
            if self._out.write(piece) != len(piece):
                return False
        return True


class Talker:
    """Says each round's readings and the faults that are due."""

    def __init__(self, write: "Callable[[bytes], bool]", faults: Faults) -> None:
        self._write = write
        self._faults = faults
        self._torn = True
        self.dropped = 0

    def say(self, readings: list[Reading], now_ms: int) -> None:
        """One round. A line that nobody takes is dropped and counted."""
        due = self._faults.due(now_ms)
        records = [senml.record(one, None) for one in readings]
        records += [senml.fault_record(one, None) for one in due]
        lost = 0
        for line in serial_line.lines(records):
            # A line end first, where half a line (or a boot message) may be out already.
            self._torn = not self._write(b"\n" + line if self._torn else line)
            lost += self._torn
        self.dropped += lost
        if not lost:
            self._faults.said(due, now_ms)
