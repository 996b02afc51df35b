"""The ways out: over MQTT, under MicroPython, with a broker's end that is made up; over USB.

And what a node does where its memory runs out."""

from __future__ import annotations

import io
import os
from typing import BinaryIO, cast

from hardware.node.faults import Faults
from hardware.node.senml import record
from hardware.node.serial_line import lines
from hardware.node.talker import Port, Talker
from hardware.node.words import CELSIUS, Reading
from tests.micropython import run

STAND = """
import asyncio, json
from hardware.node import publisher
from hardware.node.clock import Clock
from hardware.node.faults import Faults
from hardware.node.names import Names
from hardware.node.ring import Ring
from hardware.node.settings import Settings
from hardware.node.words import CELSIUS, Reading

class Link:
    def __init__(self):
        self.pings, self.heard, self.deaf = 0, [], False

    async def greet(self, *said):
        pass

    async def publish(self, topic, message):
        if self.deaf:
            raise OSError("gone")
        self.heard.append(message.decode())

    async def ping(self):
        self.pings += 1

    async def close(self):
        pass

links = []

async def opened(*where):
    return links[-1]

publisher.mqtt.open_connection = opened

def stand(capacity, set_clock):
    links.append(Link())
    ring, clock = Ring(capacity), Clock()
    if set_clock:
        clock.set(1_795_000_000_000, clock.now_ms())
    said = {"name": "shelf", "one_wire_pins": [4], "speak": "mqtt", "wifi": {"name": "home"},
            "mqtt": {"host": "127.0.0.1"}}
    return ring, publisher.Publisher(Settings(said), board="b", network=publisher.Network(),
        ring=ring, faults=Faults(), clock=clock, names=Names(), beat=lambda: None, log=[].append)
"""

QUIET = """
publisher.KEEP_ALIVE_S = 3  # a word is due every second

async def quiet(set_clock):
    ring, one = stand(100, set_clock)
    if not set_clock:
        ring.add(0, Reading("p", CELSIUS, 1))
    going = asyncio.create_task(one._one_connection())
    for _ in range(12):
        await asyncio.sleep(0.2)
        one.news.set()
    going.cancel()
    return [links[-1].pings >= 1, links[-1].heard]

async def main():
    print(json.dumps([await quiet(True), await quiet(False)]))

asyncio.run(main())
"""


def test_rounds_that_bring_nothing_to_send_do_not_hold_up_the_keep_alive() -> None:
    """Else the broker hangs up after 45 s, and says that the node is gone (MQTT 3.1.1 §3.1.2.10):
    where all probes are unplugged, or the time of day is not known yet."""
    assert run(STAND + QUIET) == [[True, []], [True, []]]


LOST = """
async def main():
    ring, one = stand(5, True)

    async def connected(deaf):
        links[-1].deaf = deaf
        going = asyncio.create_task(one._one_connection())
        await asyncio.sleep(0.1)
        going.cancel()
        try:
            await going
        except (OSError, asyncio.CancelledError):
            pass
        ring.failed()

    for count, deaf in ((8, True), (4, False), (1, False), (9, False)):
        for number in range(count):
            ring.add(1_795_000_000_000 + number, Reading("p", CELSIUS, number))
        await connected(deaf)
    print(json.dumps([text for text in links[-1].heard if "lost" in text]))

asyncio.run(main())
"""


def test_a_loss_that_could_not_be_said_is_in_the_next_count() -> None:
    first, second = run(STAND + LOST)
    assert '"7 readings lost: the broker was away for too long"' in first  # 3 and 4
    assert '"4 readings lost: the broker was away for too long"' in second


WAITS = """
class Over(Exception):
    pass

class Quick:
    Event, TimeoutError, wait_for = asyncio.Event, asyncio.TimeoutError, asyncio.wait_for

    @staticmethod
    async def sleep(seconds):
        waits.append(seconds)
        if len(waits) == 9:
            raise Over

waits = []
ring, one = stand(100, True)
late_ms = [0]
now_ms = one._clock.now_ms
one._clock.now_ms = lambda: now_ms() + late_ms[0]

async def opened(*where):
    late_ms[0] += 12_000  # as long as nobody answers
    if len(waits) != 6:
        raise OSError("nobody answers")
    return links[-1]

async def ping():
    if late_ms[0] > 200_000:
        raise OSError("hung up after long")
    late_ms[0] += 30_000

publisher.mqtt.open_connection = opened
publisher.KEEP_ALIVE_S = 0
links[-1].ping = ping
publisher.asyncio = Quick
try:
    asyncio.run(one.run())
except Over:
    pass
print(json.dumps(waits))
"""


def test_a_broker_that_does_not_answer_is_tried_less_and_less_often() -> None:
    """Also where each try takes long; after a connection that stood for a while it begins anew."""
    waits = run(STAND + WAITS)
    assert waits == [1, 2, 4, 8, 16, 30, 1, 2, 4]


SHORT = """
import asyncio, json
from hardware.node import node
from hardware.node.settings import Settings
from hardware.node.words import CELSIUS, Sensors

class Over(Exception):
    pass

class Short(Sensors):
    rounds = 0

    async def read(self, said):
        self.rounds += 1
        if self.rounds == 2:
            raise MemoryError
        if self.rounds == 4:
            raise Over
        said.reading("p", CELSIUS, self.rounds)

class Board(node.Board):
    name, written, logged, fed = "b", [], [], 0

    def sensors(self, settings):
        return [Short()]

    def feed(self):
        self.fed += 1

    def write(self, data):
        self.written.append(data.decode())
        return True

    def log(self, text):
        self.logged.append(text)

board = Board()
try:
    asyncio.run(node.Node(Settings({"name": "shelf", "one_wire_pins": [4]}), board, 20).run())
except Over:
    pass
print(json.dumps([[text.strip()[:-5] for text in board.written], board.logged]))
"""


def test_a_round_without_memory_costs_that_round_and_not_the_node() -> None:
    """TLS may have all of it just then; a node that ended would lose what waits."""
    written, logged = run(SHORT)
    assert written == [f'[{{"n":"p","u":"Cel","v":0.000{n}}}]' for n in (1, 3)]
    assert logged == ["sensors: not enough memory for this round"]


class HalfWay(io.FileIO):
    """A line whose other end goes away in the middle of a piece, for once."""

    taken = b""
    goes_away = True

    def write(self, data: object, /) -> int:
        """Takes ten bytes of what is more, the first time."""
        assert isinstance(data, bytes)
        if self.goes_away:
            self.goes_away, data = False, data[:10]
        self.taken += data
        return len(data)


def test_half_a_line_does_not_spoil_the_next() -> None:
    """A USB line may take a part of what is written (`write` says how much)."""
    reads, writes = os.pipe()
    reading = Reading("urn:dev:ow:28a1b2c3d4e5f6ac", CELSIUS, 250_625)
    with io.FileIO(reads), HalfWay(writes, "w") as out:
        talker = Talker(Port(cast(BinaryIO, out)).write, Faults())
        talker.say([reading], 0)
        talker.say([reading], 10_000)
        assert talker.dropped == 1
        assert out.taken.splitlines(keepends=True)[-1:] == lines([record(reading, None)])
