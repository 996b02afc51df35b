"""One connection to an MQTT broker: each message is acknowledged before the next is sent."""

import asyncio
import binascii
import ssl

from . import packets
from .packets import MqttFault

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Awaitable
    from typing import TypeVar

    T = TypeVar("T")

_ANSWER_S = 10
_MOST_BYTES = 127
"""Of a packet's body from the broker. What a node may be sent has two bytes at most."""


class Connection:
    """A connection, opened with `open_connection`. Everything raises OSError or MqttFault."""

    def __init__(self, reader: "asyncio.StreamReader", writer: "asyncio.StreamWriter") -> None:
        self._reader = reader
        self._writer = writer
        self._number = 0

    async def greet(
        self,
        name: str,
        keep_alive_s: int,
        will: tuple[str, bytes],
        login: tuple[str, str] | None,
    ) -> None:
        """Introduce the node, and wait for the broker's welcome."""
        await self._say(packets.connect(name, keep_alive_s, will, login))
        packets.check_welcome(*await self._hear())

    async def publish(self, topic: str, message: bytes) -> None:
        """Send a message, and wait until the broker has it."""
        self._number = self._number % 0xFFFF + 1
        await self._say(packets.publish(topic, message, self._number))
        while packets.acknowledged(*await self._hear()) != self._number:
            pass

    async def ping(self) -> None:
        """Ask the broker whether it is there, and wait for its answer."""
        await self._say(packets.PING)
        if packets.acknowledged(*await self._hear()) is not None:
            raise MqttFault("it acknowledged what it was not sent")

    async def close(self) -> None:
        """Hang up. Raises nothing."""
        try:
            self._writer.close()
            await within(self._writer.wait_closed(), 1)
        except (OSError, MqttFault):
            return  # it is gone either way

    async def _say(self, packet: bytes) -> None:
        try:
            self._writer.write(packet)  # sends at once where it can: TLS may refuse here already
        except ValueError as fault:
            raise _refused(fault) from None
        await within(self._writer.drain(), _ANSWER_S)

    async def _hear(self) -> tuple[int, bytes]:
        head = await self._bytes(2)
        if head[1] > _MOST_BYTES:
            raise MqttFault("it sent a long packet, which a node does not expect")
        return head[0] >> 4, await self._bytes(head[1]) if head[1] else b""

    async def _bytes(self, count: int) -> bytes:
        return await within(self._reader.readexactly(count), _ANSWER_S)


async def within(doing: "Awaitable[T]", seconds: float) -> "T":
    """The result of `doing`. Raises MqttFault when it takes longer, or the other end is gone."""
    try:
        return await asyncio.wait_for(doing, seconds)
    except asyncio.TimeoutError:
        raise MqttFault(f"no answer for {seconds} s") from None
    except EOFError:
        raise MqttFault("it hung up") from None
    except ValueError as fault:  # MicroPython's word for a certificate that is not trusted
        raise _refused(fault) from None


def _refused(fault: ValueError) -> MqttFault:
    return MqttFault("TLS: " + " ".join(str(fault).split()))


async def open_connection(address: str, port: int, ca_file: str | None, host: str) -> Connection:
    """Connect to an address in digits; with TLS where there is the certificate of an authority
    (PEM) by which to check that it is `host`.

    Raises OSError or MqttFault.
    """
    if ca_file is None:
        opening = asyncio.open_connection(address, port)
    else:
        context = _trusting(ca_file)
        opening = asyncio.open_connection(address, port, ssl=context, server_hostname=host)
    reader, writer = await within(opening, _ANSWER_S)
    return Connection(reader, writer)


def _trusting(ca_file: str) -> ssl.SSLContext:
    """TLS that accepts nothing but certificates of that authority, for that host."""
    try:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.verify_mode = ssl.CERT_REQUIRED
        context.load_verify_locations(cadata=_der(ca_file))
    except (OSError, ValueError) as fault:
        raise MqttFault(f"mqtt.ca_file: {ca_file} cannot be used: {fault}") from None
    return context


def _der(ca_file: str) -> bytes:
    """The first certificate of a PEM file (RFC 7468) in binary: boards read no other form."""
    with open(ca_file) as file:
        text = file.read()
    _, begun, rest = text.partition("-----BEGIN CERTIFICATE-----")
    body, ended, _ = rest.partition("-----END CERTIFICATE-----")
    if not begun or not ended:
        raise ValueError("it holds no certificate")
    return binascii.a2b_base64(body.strip().replace("\r", "").replace("\n", ""))
