"""From a name to an address, while everything else goes on: DNS (RFC 1035), and multicast DNS for
names that end in .local (RFC 6762 §5.1: one question, answered to who asked).

MicroPython's own look-up blocks all of the node until it is answered. Where the name server is
away that takes longer than the watchdog waits, and a restart would lose the readings that wait.
"""

import os

from . import datagram

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Iterator

_PORT = 53
_MULTICAST = ("224.0.0.251", 5353)
_TRIES, _PATIENCE_MS = 3, 2000
_A, _IN, _LENGTH_OF_A = 1, 1, 4


class Names:
    """Addresses by name. The last one known of a name serves while nobody answers."""

    def __init__(self) -> None:
        self._known: dict[str, str] = {}

    async def address(self, name: str, server: str) -> str:
        """The IPv4 address of `name`; `server` is the name server, host or host:port in digits.

        Raises OSError when the name has none, or nobody answers and none was known before.
        """
        if _in_digits(name):
            return name
        if name == "localhost":
            return "127.0.0.1"  # RFC 6761 §6.3
        try:
            tries = 1 if name in self._known else _TRIES
            self._known[name] = await _looked_up(name, server, tries)
        except OSError:
            if name not in self._known:
                raise
        return self._known[name]


async def _looked_up(name: str, server: str, tries: int) -> str:
    host, _, port = server.partition(":")
    where = (host, int(port or _PORT))
    mark = os.urandom(2)
    if name.endswith(".local"):
        where, mark = _MULTICAST, b"\0\0"
    if not where[0]:
        raise OSError(f"{name}: this network names no name server")
    asked = question(name, mark)
    for _ in range(tries):
        answer = await datagram.ask(
            where[0], where[1], asked, lambda said: said[:2] == mark, _PATIENCE_MS
        )
        if answer:
            return address_in(answer, name)
    raise OSError(f"{name}: the name server does not answer")


def question(name: str, mark: bytes) -> bytes:
    """The question for an address. `mark` are two bytes that come back."""
    said = mark + b"\x01\x00" + b"\x00\x01" + bytes(6)
    for label in name.split("."):
        part = label.encode()
        if not 0 < len(part) < 64:
            raise OSError(f"{name}: cannot be a name")
        said += bytes([len(part)]) + part
    return said + b"\x00" + bytes([0, _A, 0, _IN])


def address_in(answer: bytes, name: str) -> str:
    """The first address in an answer. Raises OSError when there is none."""
    try:
        if not answer[2] & 0x80 or answer[3] & 0x0F:
            raise OSError(f"{name}: the name server knows no such name")
        for kind, data in _records(answer):
            if kind == _A and len(data) == _LENGTH_OF_A:
                return ".".join(str(byte) for byte in data)
    except IndexError:
        raise OSError(f"{name}: the name server's answer is torn") from None
    raise OSError(f"{name}: has no address")


def _records(answer: bytes) -> "Iterator[tuple[int, bytes]]":
    """Kind and data of every record of class IN behind the questions."""
    place = 12
    for _ in range(answer[4] << 8 | answer[5]):
        place = _behind_name(answer, place) + 4
    for _ in range(answer[6] << 8 | answer[7]):
        place = _behind_name(answer, place)
        kind = answer[place] << 8 | answer[place + 1]
        family = (answer[place + 2] & 0x7F) << 8 | answer[place + 3]  # the top bit is mDNS's own
        length = answer[place + 8] << 8 | answer[place + 9]
        place += 10 + length
        if place > len(answer):
            raise IndexError
        if family == _IN:
            yield kind, answer[place - length : place]


def _behind_name(answer: bytes, place: int) -> int:
    """Where a name ends: at a zero, or at a pointer of two bytes (RFC 1035 §4.1.4)."""
    while answer[place]:
        if answer[place] & 0xC0:
            return place + 2
        place += 1 + answer[place]
    return place + 1


def _in_digits(name: str) -> bool:
    parts = name.split(".")
    return len(parts) == 4 and all(part.isdigit() and int(part) < 256 for part in parts)
