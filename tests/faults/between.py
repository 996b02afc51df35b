"""A real socket between a client and its server, that can break in the ways a network does."""

from __future__ import annotations

import contextlib
import socket
import threading
from typing import Literal

from tests.broker import HOST

Way = Literal["through", "silent", "broken", "answer"]


class Between:
    """Listens on a port of its own and passes on what comes, both ways, as `way` says.

    silent: takes the request and says nothing; broken: ends each connection; answer: says
    `answer` itself.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self.way: Way = "through"
        self.answer = b""
        self._listener = socket.create_server((HOST, 0))
        self.port: int = self._listener.getsockname()[1]
        self.url = f"http://{HOST}:{self.port}"
        self._open: set[socket.socket] = set()
        threading.Thread(target=self._accept, daemon=True).start()

    def become(self, way: Way, answer: bytes = b"") -> None:
        """From now on; what is open is cut off, so that no old connection goes on as before."""
        self.way, self.answer = way, answer
        for one in list(self._open):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def refuse(self, status: str, body: bytes = b"{}") -> None:
        """Answer everything with this status, for example "503 Service Unavailable"."""
        head = f"HTTP/1.1 {status}\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n"
        self.become("answer", head.encode() + body)

    def close(self) -> None:
        """Nobody listens any more."""
        self.become("broken")
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        self._open.add(client)
        with client, contextlib.suppress(OSError):
            if self.way == "through":
                self._pass_on(client)
            elif self.way == "silent":
                while client.recv(65_536):
                    pass
            elif self.way == "answer":
                client.recv(65_536)
                client.sendall(self.answer)
        self._open.discard(client)

    def _pass_on(self, client: socket.socket) -> None:
        with socket.create_connection((HOST, self._to)) as server:
            self._open.add(server)
            back = threading.Thread(target=_pump, args=(server, client), daemon=True)
            back.start()
            _pump(client, server)
            back.join()
            self._open.discard(server)


def _pump(one: socket.socket, other: socket.socket) -> None:
    with contextlib.suppress(OSError):
        while octets := one.recv(65_536):
            other.sendall(octets)
    with contextlib.suppress(OSError):
        other.shutdown(socket.SHUT_WR)
