"""Names looked up without blocking: questions and answers by the bytes of RFC 1035."""

from __future__ import annotations

import pytest

from hardware.node import names
from tests.micropython import run

MARK = b"\x12\x34"
# RFC 1035 §4.1.1 to 4.1.4, laid out by hand: the question back, an alias by a pointer, an address.
QUESTION = b"\6broker\4home\0\0\1\0\1"
ALIAS = b"\xc0\x0c\0\5\0\1\0\0\0\x3c\0\6\3nas\xc0\x13"
ADDRESS = b"\xc0\x29\0\1\0\1\0\0\0\x3c\0\4\xc0\xa8\1\x0a"
ANSWER = MARK + b"\x81\x80\0\1\0\2\0\0\0\0" + QUESTION + ALIAS + ADDRESS


def test_a_question() -> None:
    assert names.question("broker.home", MARK) == MARK + b"\1\0\0\1\0\0\0\0\0\0" + QUESTION


@pytest.mark.parametrize("name", ["", "a..b", "x" * 64 + ".home"])
def test_what_cannot_be_a_name(name: str) -> None:
    with pytest.raises(OSError, match="cannot be a name"):
        names.question(name, MARK)


def test_the_address_behind_an_alias() -> None:
    assert names.address_in(ANSWER, "broker.home") == "192.168.1.10"


def test_an_answer_of_multicast_dns_has_its_own_bit_in_the_class() -> None:
    """RFC 6762 §10.2."""
    flushing = ADDRESS.replace(b"\0\1\0\1", b"\0\1\x80\1")
    answer = MARK + b"\x84\0\0\0\0\1\0\0\0\0" + b"\6broker\5local\0" + flushing[2:]
    assert names.address_in(answer, "broker.local") == "192.168.1.10"


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (ANSWER.replace(b"\x81\x80", b"\x81\x83"), "knows no such name"),
        (ANSWER.replace(b"\x81\x80", b"\x01\x00"), "knows no such name"),  # a question
        (ANSWER.replace(b"\0\1\0\2", b"\0\1\0\1"), "has no address"),
    ],
)
def test_an_answer_without_an_address(answer: bytes, why: str) -> None:
    with pytest.raises(OSError, match=why):
        names.address_in(answer, "broker.home")


def test_torn_at_any_place_it_is_a_fault_and_nothing_else() -> None:
    for length in range(len(ANSWER)):
        with pytest.raises(OSError, match="broker"):
            names.address_in(ANSWER[:length], "broker.home")


REJOIN = """
import asyncio, json
from hardware.node import publisher
from hardware.node.clock import Clock
from hardware.node.faults import Faults
from hardware.node.names import Names
from hardware.node.ring import Ring
from hardware.node.settings import Settings

class Hollow(publisher.Network):
    joined = 0

    async def ensure(self):
        if self.joined == 1:
            raise MemoryError
        raise OSError("nothing is reached")

    def again(self):
        self.joined += 1

class Over(Exception):
    pass

class Quick:
    Event = asyncio.Event
    waits = []

    @staticmethod
    async def sleep(seconds):
        Quick.waits.append(seconds)
        if len(Quick.waits) == 17:
            raise Over

publisher.asyncio = Quick
said, network = [], Hollow()
plain = {"name": "shelf", "one_wire_pins": [4], "speak": "mqtt", "wifi": {"name": "home"},
         "mqtt": {"host": "broker"}}
one = publisher.Publisher(Settings(plain), board="b", network=network, ring=Ring(100),
    faults=Faults(), clock=Clock(), names=Names(), beat=lambda: None, log=said.append)
try:
    asyncio.run(one.run())
except Over:
    pass
print(json.dumps([network.joined, Quick.waits[:7], len(said), said[0], said[8][:25]]))
"""


def test_a_network_that_carries_nothing_is_joined_anew_and_no_want_of_memory_ends_it() -> None:
    joined, waits, said, first, later = run(REJOIN)
    assert joined == 2  # after eight failures each
    assert waits == [1, 2, 4, 8, 16, 30, 30]
    assert (said, first, later) == (17, "broker: nothing is reached", "broker: not enough memory")
