"""A serial line over a real pty: unplugged, plugged in again, noisy, torn."""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.serial_frame import encode
from collector.sources.serial_line import SerialLine
from config.sources import Serial
from tests.plug import Socket, eventually

PACK = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
PATIENCE_S = 10.0


class Line:
    """The source in its thread, its counters and its frames."""

    def __init__(self, port: Path, most: int = 100) -> None:
        self.counts = Counts(lambda: 0)
        self.inbox = Inbox(most, self.counts)
        self.source = SerialLine(Serial(port=str(port)), self.inbox, self.counts)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.source.run, args=(self._stop,))
        self._thread.start()

    def frame(self, patience_s: float = PATIENCE_S) -> Frame | None:
        return self.inbox.get(patience_s)

    def dropped(self, reason: str) -> int:
        tally = self.counts.tallies().get(self.source.name)
        return tally.dropped[reason] if tally else 0

    def connected(self) -> bool:
        tally = self.counts.tallies().get(self.source.name)
        return tally is not None and tally.connected

    def stop(self) -> float:
        """Seconds that it took to end."""
        began_s = time.monotonic()
        self._stop.set()
        self._thread.join(10)
        assert not self._thread.is_alive()
        return time.monotonic() - began_s


@pytest.fixture
def socket(tmp_path: Path) -> Iterator[Socket]:
    made = Socket(tmp_path / "node")
    yield made
    made.unplug()


@pytest.fixture
def line(socket: Socket) -> Iterator[Line]:
    socket.plug_in()
    made = Line(socket.link)
    assert eventually(made.connected)
    yield made
    made.stop()


def test_a_line_arrives_at_once(socket: Socket, line: Line) -> None:
    socket.say(encode(PACK))
    began_s = time.monotonic()
    frame = line.frame()
    assert frame is not None
    assert frame.payload == PACK.encode()
    assert frame.source == f"serial {socket.link}"
    assert time.monotonic() - began_s < 2.0


def test_unplugged_and_plugged_in_again(
    socket: Socket, line: Line, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "collector")
    for turn in range(3):
        socket.say(encode(PACK) + encode(PACK)[: 10 + turn])
        assert line.frame() is not None
        socket.unplug()
        assert eventually(lambda: not line.connected())
        time.sleep(0.3)
        socket.plug_in()
        assert eventually(line.connected)
    socket.say(encode(PACK))
    assert line.frame() is not None
    assert line.dropped("torn line") == 3
    assert line.dropped("no checksum") == 0
    assert sum(message.endswith(": open") for message in caplog.messages) == 3


def test_a_port_that_is_not_there_is_said_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "collector")
    line = Line(tmp_path / "no-such-port")
    time.sleep(1.0)  # several tries
    assert line.stop() < 2.0
    (message,) = caplog.messages
    assert "no-such-port" in message
    assert message.endswith("; it is tried again")


def test_bad_torn_and_overlong_lines_cost_only_themselves(socket: Socket, line: Line) -> None:
    good = encode(PACK)
    spoiled = good.replace(b"23.1", b"23.2")
    socket.say(b"half a line*12\n" + good + spoiled + good + b"x" * 3000 + b"\n" + good)
    for _ in range(3):
        frame = line.frame()
        assert frame is not None
        assert frame.payload == PACK.encode()
    assert line.dropped("no checksum") == 1
    assert line.dropped("wrong checksum") == 1
    assert line.dropped("overlong line") == 1


def test_ten_megabytes_of_noise(
    socket: Socket, line: Line, caplog: pytest.LogCaptureFixture
) -> None:
    """Nothing is kept of it, little is said about it, and a good line behind it is read."""
    caplog.set_level(logging.INFO, "collector")
    noise = os.urandom(1_000_000)
    for _ in range(10):
        socket.say(noise)
    socket.say(b"\n" + encode(PACK))
    frame = line.frame(30.0)
    assert frame is not None
    assert frame.payload == PACK.encode()
    assert len(line.inbox) == 0
    assert line.dropped("no checksum") > 10_000
    assert len("\n".join(caplog.messages)) < 4000


def test_it_ends_soon(line: Line) -> None:
    assert line.stop() < 1.5
