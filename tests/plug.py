"""A serial node that can be unplugged: real ptys behind one name; and waiting with patience."""

from __future__ import annotations

import os
import time
import tty
from collections.abc import Callable
from pathlib import Path

PATIENCE_S = 10.0


class Socket:
    """A socket on the board, with a name that stays, and nodes that are plugged in and out."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._ends: tuple[int, int] | None = None

    def plug_in(self) -> None:
        self._ends = os.openpty()
        tty.setraw(self._ends[1])
        fresh = self.link.with_suffix(".new")
        fresh.symlink_to(os.ttyname(self._ends[1]))
        fresh.replace(self.link)

    def say(self, data: bytes) -> None:
        assert self._ends is not None
        while data:
            data = data[os.write(self._ends[0], data[:2048]) :]

    def unplug(self) -> None:
        if self._ends is not None:
            for end in self._ends:
                os.close(end)
            self._ends = None
            self.link.unlink(missing_ok=True)


def eventually(so: Callable[[], bool], patience_s: float = PATIENCE_S) -> bool:
    until_s = time.monotonic() + patience_s
    while not so() and time.monotonic() < until_s:
        time.sleep(0.01)
    return so()
