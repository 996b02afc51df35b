"""A question in one datagram, and its answer, while everything else goes on."""

import asyncio
import socket

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Callable

_LOOK_MS = 5


async def ask(
    host: str, port: int, question: bytes, fits: "Callable[[bytes], bool]", patience_ms: int
) -> bytes:
    """The first answer that fits, b"" when none came in time. Raises OSError.

    `host` is an address in digits: a name would have to be looked up, and that blocks.
    """
    address = socket.getaddrinfo(host, port, 0, socket.SOCK_DGRAM)[0][-1]
    asker = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        asker.setblocking(False)
        asker.sendto(question, address)
        for _ in range(patience_ms // _LOOK_MS):
            await asyncio.sleep(_LOOK_MS / 1000)
            try:
                answer = asker.recv(512)
            except OSError:  # nothing there yet
                continue
            if fits(answer):
                return answer
        return b""
    finally:
        asker.close()
