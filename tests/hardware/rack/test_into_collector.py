"""The rack, over a real pty and a real broker, into a real collector and its store."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.store.reader import Reader
from config.home import Home
from hardware.rack.broker import BrokerKind, free_port, port_is_free, prepare_broker
from hardware.rack.layout import small_layout

SERIAL_WARM, SERIAL_COOL, MQTT_WARM, MQTT_COOL, MQTT_ROOM = (p.id for p in small_layout().probe)
SETTINGS = """
[collect]
commit_seconds = 0.5

[[serial]]
port = "{serial}"

[mqtt]
host = "127.0.0.1"
port = {port}
protocol = "{protocol}"
username = "collector"
"""


@contextmanager
def process(*command: str) -> Iterator[subprocess.Popen[bytes]]:
    started = subprocess.Popen(command, env={**os.environ, "PYTHONWARNINGS": "ignore"})
    try:
        yield started
    finally:
        started.terminate()
        try:
            assert started.wait(15) in (0, -15)
        finally:
            started.kill()


def wait(holds: Callable[[], bool], seconds: float = 20.0) -> None:
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


@pytest.fixture(params=["mosquitto", "amqtt"])
def home(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Home]:
    """A home with broker, rack and collector running on it."""
    kind: BrokerKind = request.param
    place = Home(tmp_path)
    port, serial = free_port(), tmp_path / "serial"
    search = str(tmp_path / "nothing") if kind == "amqtt" else None
    broker = prepare_broker(tmp_path / "broker", port, search)
    assert broker.kind == kind
    place.settings.write_text(
        SETTINGS.format(serial=serial, port=port, protocol=broker.protocol), encoding="utf-8"
    )
    python = sys.executable
    with ExitStack() as stack:
        stack.enter_context(process(*broker.command))
        wait(lambda: not port_is_free(port))
        rack = (
            python, "-m", "hardware.rack", "--serial", str(serial), "--every", "0.3",
            "--mqtt", f"127.0.0.1:{port}", "--mqtt-protocol", broker.protocol,
            "--commands", str(tmp_path / "commands"),
        )  # fmt: skip
        stack.enter_context(process(*rack))
        wait(serial.is_symlink)
        stack.enter_context(process(python, "-m", "collector", "--home", str(tmp_path)))
        yield place


def latest(home: Home) -> dict[SeriesKey, Reading]:
    with Reader(home.journal, home.archive) as reader:
        return reader.latest()


def test_every_probe_arrives_and_faults_do_too(home: Home) -> None:
    wanted = {
        SeriesKey(probe, Quantity.TEMPERATURE)
        for probe in (SERIAL_WARM, SERIAL_COOL, MQTT_WARM, MQTT_COOL, MQTT_ROOM)
    } | {SeriesKey(MQTT_ROOM, Quantity.HUMIDITY)}
    wait(lambda: set(latest(home)) == wanted)
    now_ms = time.time_ns() // 1_000_000
    for key, reading in latest(home).items():
        assert abs(now_ms - reading.at_ms) < 10_000, key
        assert reading.usable

    # A warm side is driven down while a probe of the other node comes loose.
    serial, mqtt = (SeriesKey(p, Quantity.TEMPERATURE) for p in (SERIAL_WARM, MQTT_COOL))
    commands = home.folder / "commands"
    with commands.open("a", encoding="utf-8") as file:
        file.write(f"pace 600\nheater off left shelf\nunplug {MQTT_COOL}\n")
    wait(lambda: latest(home)[serial].raw < 28.0)
    wait(lambda: latest(home)[mqtt].flags == Flag.DISCONNECTED)
    with Reader(home.journal, home.archive) as reader:
        fallen = reader.columns(serial, 0, 2**62)
    # Nothing came twice, and what came is of the whole way down.
    assert len(set(fallen.at_ms)) == len(fallen)
    assert max(fallen.raw) > 30.0
