"""The rack's two mouths: a serial line that is a real pty, and an MQTT client. No physics here."""

from __future__ import annotations

import fcntl
import os
import struct
import termios
import tty
from collections import deque
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.measured import Measured
from collector.senml_pack import pack
from collector.serial_frame import encode
from config.errors import Unusable
from hardware.rack.probe import Sample

_UNREAD_BYTES = 2048
_PER_LINE = 8
"""Samples on a line: well under the 1,024 bytes that a line may have."""
_MQTT_QUEUE = 1000


class SerialLine:
    """A pty whose other end is linked at `link`: what a node on a USB cable looks like.

    Like a UART it waits for nobody: what is not read is lost, and `lost_lines` counts it.
    """

    def __init__(self, link: Path) -> None:
        if link.exists() and not link.is_symlink():
            raise Unusable(f"{link}: a file is in the way of the serial line's link; remove it")
        self._link = link
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)  # no echo, no translation of line ends
        os.set_blocking(self._ours, False)
        self._device = os.ttyname(self._theirs)
        self.lost_lines = 0
        self._sizes: deque[int] = deque(maxlen=_UNREAD_BYTES)
        staged = link.with_name(f".{link.name}.{os.getpid()}")
        staged.symlink_to(self._device)
        staged.replace(link)

    def say(self, samples: Sequence[Sample]) -> None:
        """Write the samples as SenML lines, stamped by nobody: the collector knows the time."""
        for few in _batches(samples):
            line = encode(pack(Measured(s.probe, s.quantity, s.value) for s in few))
            self._make_room()
            try:
                written = os.write(self._ours, line)
            except BlockingIOError:
                written = 0
            if written < len(line):
                self.lost_lines += 1
            else:
                self._sizes.append(len(line))

    def close(self) -> None:
        """Hang up and take the link away, if it is still ours."""
        if self._link.is_symlink() and str(self._link.readlink()) == self._device:
            self._link.unlink()
        os.close(self._theirs)
        os.close(self._ours)

    def _make_room(self) -> None:
        """Throw away what nobody has read for long. What the kernel still passes on is not there
        yet, and may be read: only lines that are thrown away are lost."""
        waiting = struct.unpack("i", fcntl.ioctl(self._theirs, termios.FIONREAD, b"\0" * 4))[0]
        if waiting <= _UNREAD_BYTES:
            return
        termios.tcflush(self._theirs, termios.TCIFLUSH)
        while waiting > 0 and self._sizes:
            waiting -= self._sizes.popleft()
            self.lost_lines += 1


class MqttNode:
    """A node that publishes `warmcoil/<name>/senml` at QoS 1 and finds its broker again by itself.

    It has a clock: its packs carry their time, so that what waited keeps its own. At most 1,000
    messages wait; `lost_messages` counts what came beyond.
    """

    def __init__(self, name: str, host: str, port: int, protocol: Literal["5", "3.1.1"]) -> None:
        self._topic = f"warmcoil/{name}/senml"
        self.lost_messages = 0
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"warmcoil-node-{name}",
            protocol=mqtt.MQTTv5 if protocol == "5" else mqtt.MQTTv311,
        )
        self._client.username_pw_set(name)
        self._client.max_queued_messages_set(_MQTT_QUEUE)
        self._client.reconnect_delay_set(min_delay=1, max_delay=10)
        self._client.connect_async(host, port, keepalive=20)
        self._client.loop_start()

    def say(self, samples: Sequence[Sample], at_ms: int) -> None:
        """Publish the samples as one SenML pack with their time; return without waiting."""
        measured = [Measured(s.probe, s.quantity, s.value, at_ms=at_ms) for s in samples]
        if not measured:
            return
        sent = self._client.publish(self._topic, pack(measured), qos=1)
        if sent.rc == mqtt.MQTT_ERR_QUEUE_SIZE:
            self.lost_messages += 1

    @property
    def connected(self) -> bool:
        """True while the broker is there."""
        return self._client.is_connected()

    def close(self) -> None:
        """Say goodbye to the broker and end the client's thread."""
        self._client.disconnect()
        self._client.loop_stop()


def _batches(samples: Sequence[Sample]) -> Iterator[Sequence[Sample]]:
    for start in range(0, len(samples), _PER_LINE):
        yield samples[start : start + _PER_LINE]
