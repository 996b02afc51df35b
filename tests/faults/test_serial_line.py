"""A serial line over a real pty: unplugged, plugged in again, noisy, torn."""

from __future__ import annotations

import logging
import os
import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.serial_frame import encode
from collector.sources.serial_line import SerialLine
from config.sources import Serial
from tests.collector_process import CollectorProcess, make_home, stored
from tests.faults.feeders import ON_THE_LINE, LineNode
from tests.faults.record import Promise, told
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
    socket: Socket,
    line: Line,
    caplog: pytest.LogCaptureFixture,
    times: Callable[[int, int], int],
) -> None:
    """Each time it is another device: the name that stays points elsewhere, as under by-id."""
    caplog.set_level(logging.INFO, "collector")
    turns, kept_names = times(3, 50), []
    arrived, longest_s = 0, 0.0
    try:
        for turn in range(turns):
            socket.say(encode(PACK) + encode(PACK)[: 1 + turn % 40])
            arrived += line.frame() is not None
            before = socket.link.readlink()
            socket.unplug()
            assert eventually(lambda: not line.connected())
            kept_names.append(os.openpty())  # somebody else has the old number now
            time.sleep(0.3)
            socket.plug_in()
            assert socket.link.readlink() != before
            began_s = time.monotonic()
            assert eventually(line.connected, 20)
            longest_s = max(longest_s, time.monotonic() - began_s)
    finally:
        for end in (end for ends in kept_names for end in ends):
            os.close(end)
    socket.say(encode(PACK))
    arrived += line.frame() is not None
    told(
        Promise.BACK, "a node unplugged in mid-line and plugged in under another name",
        tried=turns, lost=turns + 1 - arrived, of=f"whole lines of {turns + 1}",
        note=f"read again after {longest_s:.1f} s at the most",
    )  # fmt: skip
    assert arrived == turns + 1
    assert line.dropped("torn line") == turns
    assert line.dropped("no checksum") == 0
    assert sum(message.endswith(": open") for message in caplog.messages) == turns


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


def at_the_wrong_speed(said: bytes, baud: int, read_baud: int) -> bytes:
    """What a UART at `read_baud` makes of bytes said at `baud`: 8N1, sampled in mid-bit.

    A byte without its stop bit is a framing error, which Linux hands on as a zero (termios(3)).
    """
    level = [1] * 20
    for octet in said:
        level += [0, *(octet >> bit & 1 for bit in range(8)), 1]
    level += [1] * 20
    wide, at, read = baud / read_baud, 0.0, bytearray()
    while (
        start := next((i for i in range(int(at), len(level)) if not level[i]), None)
    ) is not None:
        begin = max(at, float(start))
        samples = [int(begin + (n + 0.5) * wide) for n in range(1, 10)]
        if samples[-1] >= len(level):
            break
        bits = [level[n] for n in samples]
        read.append(sum(bit << n for n, bit in enumerate(bits[:8])) if bits[8] else 0)
        at = begin + 9.5 * wide
        while int(at) < len(level) and not level[int(at)]:  # a break: wait for the line to rise
            at += 1
    return bytes(read)


def test_the_wrong_speed_is_as_a_uart_has_it() -> None:
    assert at_the_wrong_speed(b"Warm\n\xff\0", 9600, 9600) == b"Warm\n\xff\0"
    spoiled = at_the_wrong_speed(encode(PACK), 9600, 115_200)
    assert len(spoiled) > 10
    assert PACK.encode() not in spoiled


def noise(chance: random.Random) -> bytes:
    return chance.randbytes(100_000)


def a_line_that_never_ends(_chance: random.Random) -> bytes:
    return encode(PACK)[:-1] * 1000


@cache
def _spoiled(baud: int) -> bytes:
    return at_the_wrong_speed(encode(PACK) * 20, baud, 115_200) * 10


def another_speed(chance: random.Random) -> bytes:
    return _spoiled(chance.choice([1200, 9600, 57_600, 230_400]))


@pytest.mark.parametrize(
    ("what", "rubbish"),
    [
        ("noise", noise),
        ("a line that never ends", a_line_that_never_ends),
        ("another speed", another_speed),
    ],
)
def test_a_line_gone_bad_costs_nobody_else_anything(
    tmp_path: Path, socket: Socket, times: Callable[[int, int], int],
    what: str, rubbish: Callable[[random.Random], bytes],
) -> None:  # fmt: skip
    """Bounded memory, little said about it, another line is served, and it is itself afterwards."""
    socket.plug_in()
    chance, octets = random.Random(3), 0
    with LineNode(tmp_path / "other") as other:
        home = make_home(
            tmp_path / "home",
            f"""
            [collect]
            commit_seconds = 0.5
            [[serial]]
            port = "{socket.link}"
            [[serial]]
            port = "{other.socket.link}"
            """,
        )
        collector = CollectorProcess(home)
        try:
            assert eventually(lambda: collector.log.read_text("utf-8").count(": open") == 2)
            other.begin()
            before_mb = most_mb = collector.resident_mb()
            while octets < times(1_000_000, 50_000_000):
                said = rubbish(chance)
                socket.say(said)
                octets += len(said)
                most_mb = max(most_mb, collector.resident_mb())
            socket.say(b"\n" + encode(PACK))
            assert eventually(lambda: other.said > 10)
            count = other.stop()
            assert eventually(lambda: len(stored(home)) >= count + 1, 60)
            there = Counter(one.probe for one in stored(home))
            log_bytes = len(collector.log.read_bytes())
        finally:
            code = collector.stop()[0]
    told(
        Promise.SERVED, f"a serial line with {what}", tried=octets,
        lost=count + 1 - sum(there.values()), of=f"readings of others of {count + 1}",
        note=f"tried: bytes; {most_mb - before_mb:.1f} MB more",
    )  # fmt: skip
    assert there == {ON_THE_LINE: count, "urn:dev:ow:10e2073a01080063": 1}
    assert code == 0
    assert most_mb - before_mb < 5
    assert log_bytes < 4000


def test_it_ends_soon(line: Line) -> None:
    assert line.stop() < 1.5
