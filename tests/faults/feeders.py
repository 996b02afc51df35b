"""Well-behaved and mad probes beside each other: a node on a pty, and a publisher gone mad."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

from collector.measured import Measured
from collector.readings import Quantity
from collector.senml import pack
from collector.serial_frame import encode
from hardware.node import packets
from tests.broker import HOST
from tests.plug import Socket

ON_THE_LINE = "urn:dev:mac:0024beffff804ff3"


class LineNode:
    """Says numbered readings on a pty, each with its time or not, from `begin` on until closed.

    `said` is how many, `at_ms` when: begin when somebody listens, since opening a port empties it.
    """

    def __init__(self, link: Path, a_second: float = 10.0, *, timed: bool = True) -> None:
        self.socket = Socket(link)
        self.socket.plug_in()
        self.said = 0
        self.at_ms: list[int] = []
        self._timed = timed
        self._every_s = 1.0 / a_second
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        while not self._stop.wait(self._every_s):
            at_ms = time.time_ns() // 1_000_000
            number = float(self.said)
            said_ms = at_ms if self._timed else None
            one = Measured(ON_THE_LINE, Quantity.VOLTAGE, number, at_ms=said_ms)
            self.at_ms.append(at_ms)
            self.socket.say(encode(pack([one])))
            self.said += 1

    def begin(self) -> None:
        """Speak."""
        self._thread.start()

    def stop(self) -> int:
        """Say no more; how many it said."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(10)
        return self.said

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        self.socket.unplug()


class MadPublisher:
    """Publishes `a_second` messages over a connection of its own, as bare packets: paho is slower.

    It reads what the broker answers and does not care.
    """

    def __init__(self, port: int, message: Callable[[int], tuple[str, bytes]], qos: int) -> None:
        self._socket = socket.create_connection((HOST, port), timeout=30)
        self._socket.sendall(packets.connect("mad", 0, ("mad/will", b""), None))
        assert self._socket.recv(4)[0] >> 4 == packets.CONNACK
        self._message = message
        self._qos = qos
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def publish(self, a_second: int, seconds: float) -> int:
        """Go mad for so long; how many messages went out. The last one follows as the others."""
        sent, began_s = 0, time.monotonic()
        chunk = max(1, a_second // 100)
        while sent < a_second * seconds:
            octets = b"".join(self._packet(sent + n) for n in range(chunk))
            self._socket.sendall(octets)
            sent += chunk
            time.sleep(max(0.0, began_s + sent / a_second - time.monotonic()))
        return sent

    def close(self) -> None:
        """It comes to its senses."""
        self._socket.shutdown(socket.SHUT_RDWR)
        self._reader.join(10)
        self._socket.close()

    def _packet(self, number: int) -> bytes:
        whole = packets.publish(*self._message(number), number % 65_535 + 1)
        return whole if self._qos else _at_qos_0(whole)

    def _read(self) -> None:
        try:
            while self._socket.recv(65_536):
                pass
        except OSError:
            return


def _at_qos_0(whole: bytes) -> bytes:
    """The same PUBLISH without its number (MQTT 3.1.1 §3.3); of messages shorter than 100 bytes."""
    size = int.from_bytes(whole[2:4], "big")
    assert whole[1] < 0x80
    return bytes([0x30, whole[1] - 2]) + whole[2 : 4 + size] + whole[6 + size :]
