"""The time of day from a server, and readings that were taken before it was known."""

from __future__ import annotations

import asyncio
import struct
from typing import cast

import pytest

from hardware.node import senml, serial_line, sntp
from hardware.node.clock import Clock
from hardware.node.words import CELSIUS, HUMIDITY, Fault, Reading
from tests.micropython import run

MARK = b"\x01\x02\x03\x04\x05\x06\x07\x08"
NOW_S = 1_795_000_000
ERA_2_S = 2_100_000_000  # after 2036-02-07, when the count of RFC 5905 begins anew


def answer(
    unix_s: float = NOW_S, mark: bytes = MARK, head: int = 0x24, stratum: int = 2, size: int = 48
) -> bytes:
    """An answer as RFC 4330 lays it out."""
    seconds, rest = divmod(unix_s + 2_208_988_800, 1)
    now = struct.pack(">II", int(seconds) % 2**32, int(rest * 2**32))
    return (bytes([head, stratum, 0, 0xEC]) + bytes(12) + now + mark + now + now)[:size]


@pytest.mark.parametrize("unix_s", [NOW_S, NOW_S + 0.25, ERA_2_S])
def test_an_answer(unix_s: float) -> None:
    assert sntp.answer_ms(answer(unix_s), MARK) == (unix_s * 1000, unix_s * 1000)


@pytest.mark.parametrize(
    "wrong",
    [
        answer(mark=bytes(8)),  # of another question, or a guess
        answer(head=0x23),  # a question, not an answer
        answer(head=0xE4),  # leap indicator 3: not synchronised
        answer(stratum=0),  # a kiss of death
        answer(stratum=16),
        answer(size=47),
        answer(unix_s=1_700_000_000),  # before this firmware was written
        answer()[:40] + bytes(8),  # no time at all, which is not the year 2036 (RFC 4330 §5)
        b"",
    ],
)
def test_an_answer_that_sets_no_clock(wrong: bytes) -> None:
    with pytest.raises(sntp.NoTime):
        sntp.answer_ms(wrong, MARK)


@pytest.mark.parametrize("arrived", [bytes(8), b"\xff" * 8, answer()[32:40]])
def test_the_way_takes_no_longer_than_the_answer_did(
    arrived: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever the server says of when the question arrived, the clock is off by 1.5 s at most."""
    heard: list[tuple[int, int]] = []

    class Watch:
        now = 0

        def now_ms(self) -> int:
            self.now += 1000
            return self.now

        def set(self, unix_ms: int, at_ms: int) -> bool:
            heard.append((unix_ms, at_ms))
            return True

    async def ask(_host: str, _port: int, question: bytes, *_: object) -> bytes:
        whole = answer(mark=question[40:48])
        return whole[:32] + arrived + whole[40:]

    monkeypatch.setattr("hardware.node.datagram.ask", ask)
    asyncio.run(sntp.set_clock(cast(Clock, Watch()), "127.0.0.1", 123))
    ((unix_ms, at_ms),) = heard
    assert at_ms == 2000
    assert NOW_S * 1000 <= unix_ms <= NOW_S * 1000 + 500


CLOCK = """
import json
from hardware.node import clock

def ticks():
    return tick[0] % (1 << 30)

class Time:
    ticks_ms = staticmethod(ticks)
    # As boards have it; the unix port counts further.
    ticks_diff = staticmethod(lambda a, b: (a - b + (1 << 29)) % (1 << 30) - (1 << 29))

clock.time = Time
tick = [(1 << 30) - 1000]
made = clock.Clock()
seen = []
for _ in range(30):
    tick[0] += 500_000_000  # almost six days
    seen.append(made.now_ms())
early = made.unix_ms(5)
said = [made.set(1_795_000_000_123, seen[-1])]
first, kept = made.unix_ms(seen[0]), made.stamp(seen[-1])
said.append(made.set(1_795_000_000_173, seen[-1]))  # an hour later it is set a little later
again, later = made.unix_ms(seen[0]), made.stamp(seen[-1])
said += [made.set(1_895_000_000_000, seen[-1]), made.set(1_795_000_000_000, seen[-1])]
said += [made.set(1_895_000_000_000 + n, seen[-1]) for n in range(2)]
print(json.dumps([seen, early, [first, again], [kept, later, made.unix_ms(kept)], said]))
"""


def test_the_clock_never_wraps_and_dates_what_came_before_it_was_set() -> None:
    """MicroPython's ticks begin anew after 2^30 ms, twelve days."""
    seen, early, first, kept, said = run(CLOCK)
    assert seen == [500_000_000 * n for n in range(1, 31)]
    assert early is None
    # A reading keeps the time that it was first said with: sent twice, it is the same reading.
    assert first == [1_795_000_000_123 - 29 * 500_000_000] * 2
    assert kept == [1_795_000_000_123, 1_795_000_000_173, 1_795_000_000_123]
    # What is far off is believed when it is said twice in a row.
    assert said == [True, True, False, True, False, True]


ASKING = """
import asyncio, json
from hardware.node import node, sntp
from hardware.node.settings import Settings

class Over(Exception):
    pass

class Quick:
    waits = []

    @staticmethod
    async def sleep(seconds):
        Quick.waits.append(seconds)
        if not comes:
            raise Over

class Network:
    async def ensure(self):
        if comes[0] == "no network":
            raise OSError(comes.pop(0))

    def name_server(self):
        return ""

class Board(node.Board):
    name, network, log = "b", Network(), lambda self, text: None

    def sensors(self, settings):
        return []

    def tell_time(self, unix_ms):
        if comes[0] == "2106":
            comes.pop(0)
            raise OverflowError("overflow converting long int to machine word")
        comes.pop(0)

async def set_clock(clock, host, port):
    if comes[0] == "no time":
        raise sntp.NoTime(comes.pop(0))
    if comes[0] == "no memory":
        raise MemoryError(comes.pop(0))

node.asyncio, sntp.set_clock = Quick, set_clock
said = {"name": "shelf", "one_wire_pins": [4], "time_server": "127.0.0.1"}
comes = ["no network"] * 3 + ["no time"] * 6 + ["no memory", "time", "no time", "2106", "time"]
try:
    asyncio.run(node.Node(Settings(said), Board())._ask_time())
except Over:
    pass
print(json.dumps(Quick.waits))
"""


def test_a_time_server_is_asked_less_often_where_it_does_not_help() -> None:
    """RFC 4330 §10: never more often than every 15 s, and seldomer where nothing comes. A network
    that is not there is nobody's burden. Nothing that goes wrong ends the node."""
    waits = run(ASKING)
    assert waits[:9] == [16, 16, 16, 16, 32, 64, 128, 256, 256]
    assert waits[9:] == [16, 3600, 16, 32, 3600]


def test_records_and_lines() -> None:
    warm = Reading("urn:dev:ow:28a1b2c3d4e5f6ac", CELSIUS, 250_625)
    assert senml.record(warm, 1_795_000_000_050) == (
        '{"n":"urn:dev:ow:28a1b2c3d4e5f6ac","t":1795000000.05,"u":"Cel","v":25.0625}'
    )
    assert senml.record(Reading("p", HUMIDITY, -5), -1500) == (
        '{"n":"p_humidity","t":-1.5,"u":"%RH","v":-0.0005}'
    )
    assert senml.fault_record(Fault("p", 'a "b"'), None) == '{"n":"p_fault","vs":"a \\"b\\""}'
    lines = serial_line.lines([senml.record(warm, None)] * 100)
    assert max(map(len, lines)) <= serial_line.LONGEST_LINE
    assert sum(line.count(b'"v"') for line in lines) == 100
