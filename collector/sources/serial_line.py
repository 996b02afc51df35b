"""A node on USB or a serial line, one SenML pack a line. Survives being unplugged."""

from __future__ import annotations

import errno
import logging
import termios
import threading
import time
from collections.abc import Callable

import serial

from collector import serial_frame
from collector.backoff import Backoff
from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.sources.source import Source
from config.sources import Serial

log = logging.getLogger("collector")

_READ_TIMEOUT_S = 0.5
_MOST_AT_ONCE = 4096
_FIRST_WAIT_S, _MOST_WAIT_S = 0.2, 10.0
"""A port is on the board itself; looking for it often costs next to nothing."""


class SerialLine(Source):
    """Reads lines from one port, and drops those that do not add up."""

    def __init__(
        self,
        settings: Serial,
        inbox: Inbox,
        counts: Counts,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._settings = settings
        self._inbox = inbox
        self._counts = counts
        self._monotonic = monotonic
        self._lines = serial_frame.Lines()

    @property
    def name(self) -> str:
        """`serial` and the port."""
        return f"serial {self._settings.port}"

    def run(self, stop: threading.Event) -> None:
        """Open, read, and open again, until `stop`."""
        backoff = Backoff(_FIRST_WAIT_S, _MOST_WAIT_S)
        said: str | None = None
        self._counts.connection(self.name, up=False)
        while not stop.is_set():
            try:
                with self._opened() as port:
                    log.info("%s: open", self.name)
                    said = None
                    self._read(port, stop, backoff)
            except (OSError, termios.error) as fault:
                # A missing port is said once, not at every try.
                if said != str(fault):
                    said = str(fault)
                    log.warning("%s: %s; it is tried again", self.name, _why(fault))
            finally:
                self._lost()
            stop.wait(backoff.next_s())

    def _opened(self) -> serial.Serial:
        return serial.Serial(
            self._settings.port, self._settings.baud, timeout=_READ_TIMEOUT_S, exclusive=True
        )

    def _read(self, port: serial.Serial, stop: threading.Event, backoff: Backoff) -> None:
        self._counts.connection(self.name, up=True)
        while not stop.is_set():
            data = port.read(max(1, min(port.in_waiting, _MOST_AT_ONCE)))
            if data:
                self._take(data)
                backoff.reset()

    def _take(self, data: bytes) -> None:
        overlong = self._lines.overlong
        for line in self._lines.feed(data):
            if not line:
                continue  # a node ends what may be half a line before it starts its own
            try:
                text = serial_frame.decode(line)
            except serial_frame.BadLine as fault:
                self._counts.drop(self.name, fault.reason, str(fault))
                continue
            self._inbox.put(Frame(self.name, text.encode(), self._monotonic()))
        if more := self._lines.overlong - overlong:
            text = f"longer than {serial_frame.LONGEST_LINE} bytes"
            self._counts.drop(self.name, "overlong line", text, more)

    def _lost(self) -> None:
        torn = self._lines.torn
        self._lines.tear()
        if self._lines.torn > torn:
            self._counts.drop(self.name, "torn line", "the link broke in mid-line")
        self._counts.connection(self.name, up=False)


_HINTS = {
    errno.ENOENT: "is not there: is the node plugged in? ls /dev/serial/by-id shows what is",
    errno.EACCES: (
        "may not be opened by this user: add the user to its group, dialout as a rule, and log in "
        "again"
    ),
    errno.EAGAIN: "is taken: another program has it open, a terminal or mpremote",
}


def _why(fault: Exception) -> str:
    """The fault in one line, with what to do where that is known."""
    hint = _HINTS.get(getattr(fault, "errno", None) or 0)
    return hint or " ".join(str(fault).split())
