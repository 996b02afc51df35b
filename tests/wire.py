"""A cable between a client and a broker that can be cut, or let one direction go silent."""

from __future__ import annotations

import contextlib
import socket
import threading

from tests.broker import HOST


class Wire:
    """Passes bytes on between clients of `port` and the server behind it.

    While deaf, the server hears nothing, while mute, the clients: what is said is lost with the
    connection, as when a line fails in one direction before it fails in both.
    """

    def __init__(self, server_port: int) -> None:
        self._server_port = server_port
        self._deaf = threading.Event()
        self._mute = threading.Event()
        self._listener = socket.create_server((HOST, 0))
        self.port: int = self._listener.getsockname()[1]
        self._ends: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def deafen(self) -> None:
        """From now on, what clients say is lost."""
        self._deaf.set()

    def mute(self) -> None:
        """From now on, what the server says is lost."""
        self._mute.set()

    def mend(self) -> None:
        """Cut what is connected, and be a good wire again."""
        for end in self._ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        for thread in self._threads[1:]:
            thread.join(10)
        for end in self._ends:
            end.close()
        self._ends.clear()
        del self._threads[1:]
        self._deaf.clear()
        self._mute.clear()

    def close(self) -> None:
        """Take the wire away."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._threads[0].join(10)
        self._listener.close()
        self.mend()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            try:
                server = socket.create_connection((HOST, self._server_port))
            except OSError:  # the server is away: so is the other end of the wire
                client.close()
                continue
            self._ends += [client, server]
            ways = ((client, server, self._deaf), (server, client, self._mute))
            for source, target, lost in ways:
                thread = threading.Thread(target=self._pass_on, args=(source, target, lost))
                self._threads.append(thread)
                thread.start()

    @staticmethod
    def _pass_on(source: socket.socket, target: socket.socket, lost: threading.Event) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(4096):
                if not lost.is_set():
                    target.sendall(data)
            target.shutdown(socket.SHUT_WR)
