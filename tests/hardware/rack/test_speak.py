"""The rack's mouths over a real pty, and its brokers under a real client."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from collector.readings import Quantity
from collector.senml import decode as decode_senml
from collector.serial_frame import decode as decode_line
from config.errors import NotSo, Unusable
from hardware.rack.broker import Broker, free_port, port_is_free, prepare_broker
from hardware.rack.probe import Sample
from hardware.rack.speak import MqttNode, SerialLine

SAMPLES = [Sample(f"urn:dev:ow:28{k:014x}", Quantity.TEMPERATURE, 20 + k / 16) for k in range(20)]


def read_lines(path: Path, count: int) -> list[bytes]:
    lines: list[bytes] = []
    with path.open("rb", buffering=0) as line:
        rest = b""
        while len(lines) < count:
            rest += line.read(4096)
            *whole, rest = rest.split(b"\n")
            lines += whole
    return lines


def test_the_line_carries_packs_with_checksums(tmp_path: Path) -> None:
    line = SerialLine(tmp_path / "tty")
    line.say(SAMPLES)
    packs = [decode_line(text) for text in read_lines(tmp_path / "tty", 3)]
    heard = [m for pack in packs for m in decode_senml(pack.encode(), 1_700_000_000_000).measured]
    assert [(m.probe, m.quantity, m.raw) for m in heard] == [tuple(s) for s in SAMPLES]
    assert all(m.at_ms is None for m in heard)  # the collector stamps them
    assert line.lost_lines == 0
    line.close()
    assert not (tmp_path / "tty").exists()


def test_nobody_listening_blocks_nothing_and_is_counted(tmp_path: Path) -> None:
    line = SerialLine(tmp_path / "tty")
    said, until_s = 0, time.monotonic() + 20
    while line.lost_lines < 100 and time.monotonic() < until_s:
        line.say(SAMPLES)
        said += 3
    assert line.lost_lines >= 100
    # What the kernel's buffers hold, however much that is, is still there; the rest was counted,
    # or is on its way still, which on a busy machine may be a good part of it.
    heard = b""
    with (tmp_path / "tty").open("rb", buffering=0) as end:
        while select.select([end], [], [], 1.0)[0]:
            heard += end.read(65_536)
    assert said / 2 <= heard.count(b"\n") + line.lost_lines <= said
    line.close()


def test_a_stale_link_is_replaced_and_a_file_is_not(tmp_path: Path) -> None:
    link = tmp_path / "tty"
    link.symlink_to("/nonexistent")
    SerialLine(link).close()
    link.write_text("mine")
    with pytest.raises(Unusable, match="in the way"):
        SerialLine(link)
    assert link.read_text() == "mine"


def test_two_lines_at_one_place_leave_the_newer_ones_link(tmp_path: Path) -> None:
    old = SerialLine(tmp_path / "tty")
    new = SerialLine(tmp_path / "tty")
    old.close()
    assert (tmp_path / "tty").exists()
    new.close()


@contextmanager
def running(broker: Broker, port: int) -> Iterator[None]:
    process = subprocess.Popen(broker.command, env={**os.environ, "PYTHONWARNINGS": "ignore"})
    try:
        for _ in range(300):
            if not port_is_free(port):
                break
            assert process.poll() is None
            time.sleep(0.05)
        yield
    finally:
        process.terminate()
        try:
            assert process.wait(10) in (0, -15)
        finally:
            process.kill()


class Listener:
    """A subscriber with a session that outlives its connection."""

    def __init__(self, port: int, protocol: str) -> None:
        self.heard: list[bytes] = []
        self._subscribed = threading.Event()
        five = protocol == "5"
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id="listener",
            protocol=mqtt.MQTTv5 if five else mqtt.MQTTv311,
            clean_session=None if five else False,
        )
        self.client.username_pw_set("listener")
        self.client.on_message = lambda _c, _u, message: self.heard.append(bytes(message.payload))
        self.client.on_connect = self._subscribe
        self.client.on_subscribe = lambda *_: self._subscribed.set()
        if five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = 3600
            self.client.connect("127.0.0.1", port, clean_start=False, properties=properties)
        else:
            self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert self._subscribed.wait(10)

    def _subscribe(self, *_: object) -> None:
        self.client.subscribe("warmcoil/+/senml", qos=1)

    def wait_for(self, count: int) -> None:
        for _ in range(200):
            if len(self.heard) >= count:
                return
            time.sleep(0.05)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture(params=["mosquitto", "amqtt"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Broker, int]]:
    port = free_port()
    # An empty folder to search hides an installed mosquitto.
    search = str(tmp_path / "nothing") if request.param == "amqtt" else None
    found = prepare_broker(tmp_path / "broker", port, search)
    assert found.kind == request.param
    with running(found, port):
        yield found, port


def test_a_node_is_heard_and_what_it_said_meanwhile_is_kept(broker: tuple[Broker, int]) -> None:
    found, port = broker
    at_ms = 1_700_000_000_123
    listener = Listener(port, found.protocol)
    node = MqttNode("bench", "127.0.0.1", port, found.protocol)
    node.say(SAMPLES[:2], at_ms)
    listener.wait_for(1)
    (pack,) = listener.heard
    heard = decode_senml(pack, at_ms + 999_999).measured
    assert [(m.probe, m.raw, m.at_ms) for m in heard] == [
        (s.probe, s.value, at_ms) for s in SAMPLES[:2]
    ]
    listener.close()
    time.sleep(0.3)
    node.say(SAMPLES[2:3], at_ms + 1000)
    time.sleep(0.3)
    again = Listener(port, found.protocol)
    again.wait_for(1)
    assert [decode_senml(p, 0).measured[0].raw for p in again.heard] == [SAMPLES[2].value]
    again.close()
    node.close()


def test_a_node_without_a_broker_keeps_a_bounded_queue() -> None:
    node = MqttNode("bench", "127.0.0.1", free_port(), "5")
    began = time.monotonic()
    for k in range(1200):
        node.say(SAMPLES[:1], 1_700_000_000_000 + k)
    assert time.monotonic() - began < 5.0
    assert node.lost_messages == 200
    assert not node.connected
    node.close()


def test_without_any_broker_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "amqtt", None)
    with pytest.raises(NotSo, match="install the Debian package mosquitto"):
        prepare_broker(tmp_path, 1, str(tmp_path / "nothing"))


def test_the_process_speaks_obeys_and_ends(tmp_path: Path) -> None:
    port = free_port()
    with running(prepare_broker(tmp_path / "broker", port), port):
        listener = Listener(port, "5")
        commands = tmp_path / "commands"
        rack = subprocess.Popen(
            [
                sys.executable, "-m", "hardware.rack", "--serial", str(tmp_path / "tty"),
                "--mqtt", f"127.0.0.1:{port}", "--every", "0.2", "--commands", str(commands),
            ],
            stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        try:
            while not (tmp_path / "tty").exists() or not commands.exists():
                time.sleep(0.02)
            listener.wait_for(2)
            with commands.open("a") as file:
                file.write("pace 600\nheater off left shelf\nmake tea\n")
            coolest = 99.0
            with (tmp_path / "tty").open("rb", buffering=0) as line:
                began, rest = time.monotonic(), b""
                while coolest > 28.0 and time.monotonic() - began < 20:
                    rest += line.read(4096)
                    *whole, rest = rest.split(b"\n")
                    for text in whole:
                        first = decode_senml(decode_line(text).encode(), 10**12).measured[0]
                        coolest = min(coolest, first.raw)
            assert coolest <= 28.0  # the warm side came down
            assert len(listener.heard) >= 2
        finally:
            rack.terminate()
            _, log = rack.communicate(timeout=60)
        assert rack.returncode == 0
        assert "left shelf: heater off" in log
        assert "'make tea' is no command" in log
        assert not (tmp_path / "tty").is_symlink()
        listener.close()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "give --serial PATH"),
        (["--serial", "tty"], "give --mqtt HOST:PORT"),
        (["--mqtt", "nowhere"], "not HOST:PORT"),
        (["--every", "0"], "over 0"),
        (["--layout", "none.toml"], "cannot be read"),
    ],
)
def test_wrong_use_is_one_line_and_exit_code_2(
    tmp_path: Path, options: list[str], says: str
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "hardware.rack", *options],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
        capture_output=True,
        text=True,
        check=False,
        timeout=20,
    )
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
