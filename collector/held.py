"""Frames that came without a time while the clock could not be believed; bounded."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from collector.deliveries import Ticket
from collector.frame import Frame
from collector.measured import Measured


@dataclass(frozen=True, slots=True)
class HeldFrame:
    """A decoded frame. With a ticket, a broker still keeps its message."""

    frame: Frame
    measured: list[Measured]
    ticket: Ticket | None


class Held:
    """Frames in the order they came, at most `most` measurements of them.

    At the bound the oldest that nobody else keeps go.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._frames: deque[HeldFrame] = deque()
        self._measurements = 0
        self._tickets = 0

    def __len__(self) -> int:
        """Measurements that wait."""
        return self._measurements

    @property
    def full(self) -> bool:
        """True when there is no room, and nothing that may be dropped to make some."""
        return self._measurements >= self._most and self._tickets == len(self._frames)

    def add(self, held: HeldFrame) -> list[HeldFrame]:
        """Take `held`; returns those that had to go for it, oldest first."""
        self._frames.append(held)
        self._measurements += len(held.measured)
        self._tickets += held.ticket is not None
        gone = []
        while self._measurements > self._most and self._tickets < len(self._frames):
            oldest = next(one for one in self._frames if one.ticket is None)
            self._frames.remove(oldest)
            self._measurements -= len(oldest.measured)
            gone.append(oldest)
        return gone

    def take_all(self) -> list[HeldFrame]:
        """All of them, oldest first; none is left."""
        frames = list(self._frames)
        self._frames.clear()
        self._measurements = self._tickets = 0
        return frames
