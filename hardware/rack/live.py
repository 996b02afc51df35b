"""A rack that runs now: its own time, its probes spoken at a steady cadence, commands obeyed."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Self

from config.errors import Unusable
from hardware.rack.command import Controls
from hardware.rack.faults import Script
from hardware.rack.hearing import Hearing
from hardware.rack.layout import Layout
from hardware.rack.probe import Sample
from hardware.rack.rack import Rack
from hardware.rack.speak import MqttNode, SerialLine

_LISTEN_SECONDS = 0.2
_log = logging.getLogger("rack")


@dataclass(slots=True)
class Mouths:
    """The nodes of a rack, opened: by node name."""

    serial: dict[str, SerialLine] = field(default_factory=dict)
    mqtt: dict[str, MqttNode] = field(default_factory=dict)

    @classmethod
    def open(
        cls,
        layout: Layout,
        serial: Path | None,
        broker: tuple[str, int] | None,
        protocol: Literal["5", "3.1.1"],
    ) -> Self:
        """Open what the layout's nodes need; serial nodes share the one line at `serial`.

        Raises Unusable when a node has no way to speak.
        """
        mouths = cls()
        line: SerialLine | None = None
        for node in layout.node:
            if node.speaks == "serial":
                if serial is None:
                    raise Unusable(
                        f"node {node.name} speaks over a serial line: give --serial PATH"
                    )
                line = line or SerialLine(serial)
                mouths.serial[node.name] = line
            else:
                if broker is None:
                    raise Unusable(f"node {node.name} speaks MQTT: give --mqtt HOST:PORT")
                mouths.mqtt[node.name] = MqttNode(node.name, *broker, protocol)
        return mouths

    def say(self, node: str, samples: list[Sample], at_ms: int) -> None:
        """Let a node speak."""
        if node in self.serial:
            self.serial[node].say(samples)
        else:
            self.mqtt[node].say(samples, at_ms)

    @property
    def lost(self) -> int:
        """Lines and messages that nobody took."""
        lines = {id(line): line.lost_lines for line in self.serial.values()}
        return sum(lines.values()) + sum(node.lost_messages for node in self.mqtt.values())

    def close(self) -> None:
        """Close them all, each once."""
        for line in {id(line): line for line in self.serial.values()}.values():
            line.close()
        for node in self.mqtt.values():
            node.close()


class LiveRack:
    """A rack from now on. Its time starts as the clock's and runs `pace` times as fast."""

    def __init__(
        self, layout: Layout, mouths: Mouths, every_seconds: float, *, pace: float = 1.0
    ) -> None:
        script = Script()
        self._rack = Rack.of(layout, script, _clock_ms())
        self._mouths = mouths
        self._every = every_seconds
        self._node_of: Mapping[str, str] = {p.id: p.node for p in layout.probe}
        self.controls = Controls(
            script,
            enclosures=tuple(e.name for e in layout.enclosure),
            probes=tuple(p.id for p in layout.probe),
            pace=pace,
        )

    def run(self, stop: threading.Event, ears: Hearing) -> None:
        """Speak every so many seconds and obey in between, until `stop` is set."""
        before = due = time.monotonic()
        said_lost = 0
        while not stop.is_set():
            now = time.monotonic()
            self._rack.advance(
                self._rack.now_ms + round((now - before) * 1000 * self.controls.pace)
            )
            before = now
            self._listen(ears)
            if now >= due:
                self._speak()
                due = max(due + self._every, now)
                if self._mouths.lost != said_lost:
                    said_lost = self._mouths.lost
                    _log.warning("%d lines or messages lost so far: nobody took them", said_lost)
            stop.wait(min(max(due - time.monotonic(), 0.0), _LISTEN_SECONDS))

    def _listen(self, ears: Hearing) -> None:
        for line in ears.lines():
            try:
                _log.info("%s", self.controls.obey(line, self._rack.now_ms))
            except Unusable as fault:
                _log.error("%s", fault)

    def _speak(self) -> None:
        by_node: dict[str, list[Sample]] = {}
        for sample in self._rack.read():
            by_node.setdefault(self._node_of[sample.probe], []).append(sample)
        at_ms = _clock_ms()
        for node, samples in by_node.items():
            self._mouths.say(node, samples, at_ms)


def _clock_ms() -> int:
    return time.time_ns() // 1_000_000
