"""The node and a real broker: its login, its last will, and what it does when it is refused."""

from __future__ import annotations

import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.senml import decode, resolve
from tests.broker import HOST, Mosquitto, broker, free_port
from tests.config.deploy.test_broker import USERS, Board
from tests.config.deploy.test_broker import board as shipped
from tests.hardware.node.stand import BOARD, COOL, NameServer, NodeProcess, TimeServer, over_mqtt
from tests.plug import eventually
from tests.wire import Wire

__all__ = ["broker", "shipped"]
pytestmark = pytest.mark.broker


class Listener:
    """Hears all that the broker passes on of the nodes."""

    def __init__(
        self, port: int, login: tuple[str, str] | None = None, tls: Board | None = None
    ) -> None:
        self.heard: list[str] = []
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        if login:
            self._client.username_pw_set(*login)
        ready = threading.Event()
        self._client.on_message = lambda _c, _u, message: self.heard.append(
            message.payload.decode()
        )
        self._client.on_subscribe = lambda *_: ready.set()
        self._client.on_connect = lambda client, *_: client.subscribe("warmcoil/+/senml", 1)
        if tls:
            self._client.tls_set(ca_certs=str(tls.ca_file))
        self._client.connect(HOST, tls.tls_port if tls else port)
        self._client.loop_start()
        assert ready.wait(10)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def time_server() -> Iterator[TimeServer]:
    made = TimeServer()
    yield made
    made.close()


def test_a_login_and_the_last_will(tmp_path: Path, time_server: TimeServer) -> None:
    if shutil.which("mosquitto_passwd") is None:
        pytest.skip("mosquitto_passwd is not installed (Debian package mosquitto)")
    passwords = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-c", "-b", passwords, "shelf", "s3cret"], check=True)
    passwords.chmod(0o644)
    folder = tmp_path / "broker"
    folder.mkdir()
    kept = Mosquitto(folder, "allow_anonymous false", f"password_file {passwords}")
    kept.start()
    listener = Listener(kept.port, ("shelf", "s3cret"))
    settings = over_mqtt(kept.port, time_server)
    wrong = NodeProcess(tmp_path / "wrong", settings)
    right = NodeProcess(
        tmp_path / "right",
        {**settings, "mqtt": {**settings["mqtt"], "username": "shelf", "password": "s3cret"}},  # type: ignore[dict-item]
    )
    try:
        wrong.start()
        assert eventually(lambda: wrong.said("broker: refused: not allowed"), 20)
        wrong.kill()
        assert listener.heard == []
        right.start()
        assert eventually(lambda: len(listener.heard) >= 2, 20)
        (first, *_) = resolve(listener.heard[0], 0)
        assert (first.name, first.relative) == (COOL, False)
        right.kill()
        gone = f'"n":"{BOARD}_fault","vs":"the node is gone"'
        assert eventually(lambda: gone in listener.heard[-1], 20)
    finally:
        wrong.kill()
        right.kill()
        listener.close()
        kept.stop()


def test_tls_with_the_shipped_brokers_configuration(
    shipped: Board, tmp_path: Path, time_server: TimeServer
) -> None:
    """It publishes as itself, to the broker whose authority it knows, and to no other."""
    mine, other = tmp_path / "ca.crt", tmp_path / "other.crt"
    mine.write_bytes(shipped.ca_file.read_bytes())
    subprocess.run(
        [
            "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
            "-nodes", "-keyout", tmp_path / "key", "-out", other, "-subj", "/CN=someone else",
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip
    settings = over_mqtt(shipped.tls_port, time_server, name="node-1")
    listener = Listener(shipped.broker.port, ("warmcoil", USERS["warmcoil"]), shipped)
    nodes = []
    whose = (("right", mine, HOST), ("wrong", other, HOST), ("elsewhere", mine, "localhost"))
    for name, ca_file, host in whose:
        login = {"password": USERS["node-1"], "ca_file": str(ca_file)}
        mqtt = {"host": host, "port": shipped.tls_port, **login}
        nodes.append(NodeProcess(tmp_path / name, {**settings, "mqtt": mqtt}))
    right, wrong, elsewhere = nodes
    try:
        wrong.start()
        elsewhere.start()
        assert eventually(lambda: elsewhere.said("broker: TLS: "), 20), elsewhere.log.read_text()
        assert eventually(
            lambda: wrong.said("broker: TLS: The certificate is not correctly signed"), 20
        )
        assert eventually(lambda: len(wrong.values(COOL)) >= 3, 20)
        wrong.kill()
        elsewhere.kill()
        assert not wrong.said("connected")
        assert not elsewhere.said("connected")
        assert listener.heard == []
        right.start()
        assert eventually(lambda: len(listener.heard) >= 2, 20), right.log.read_text()
    finally:
        right.kill()
        wrong.kill()
        elsewhere.kill()
        listener.close()


def test_a_small_buffer_keeps_the_newest_and_says_what_was_lost(
    broker: Mosquitto, tmp_path: Path, time_server: TimeServer
) -> None:
    """100 readings are the least that the settings allow; four a round."""
    wire = Wire(broker.port)
    listener = Listener(broker.port)
    # Without DS18B20 a round takes 10 ms: many are soon lost.
    node = NodeProcess(
        tmp_path / "node",
        over_mqtt(wire.port, time_server, buffer_readings=100),
        ds18b20=[],
        every_ms=30,
    )
    try:
        node.start()
        assert eventually(lambda: len(listener.heard) >= 3, 20)
        broker.stop()
        wire.mend()
        assert eventually(lambda: node.said("hung up") or node.said("ECONN"), 20)
        threading.Event().wait(4)
        listener.close()
        broker.start()
        listener = Listener(broker.port)
        assert eventually(lambda: any("readings lost" in text for text in listener.heard), 40)
        told = next(text for text in listener.heard if "readings lost" in text)
        assert len(decode(told.encode(), 0).measured) == 10  # what waited comes with it
    finally:
        node.kill()
        listener.close()
        wire.close()


def test_no_name_server_starves_the_watchdog_or_costs_a_reading(
    broker: Mosquitto, tmp_path: Path, time_server: TimeServer
) -> None:
    """Looking a name up never blocks; the address known last serves while nobody answers."""
    names = NameServer("broker.home", HOST)
    wire = Wire(broker.port)
    listener = Listener(broker.port)
    settings = over_mqtt(wire.port, time_server, mqtt={"host": "broker.home", "port": wire.port})
    node = NodeProcess(tmp_path / "node", settings, name_server=names.where)
    try:
        node.start()
        assert eventually(lambda: names.asked >= 2, 20)  # longer than the watchdog waits
        assert len(node.values(COOL)) >= 2
        assert listener.heard == []
        names.silent = False
        assert eventually(lambda: len(listener.heard) >= 2, 20), node.log.read_text()
        names.silent = True
        wire.mend()
        asked, heard = names.asked, len(listener.heard)
        assert eventually(lambda: names.asked >= asked + 1, 30)
        assert eventually(lambda: len(listener.heard) >= heard + 2, 30), node.log.read_text()
        assert not node.said("Traceback")
    finally:
        node.kill()
        listener.close()
        wire.close()
        names.close()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "broker: it hung up"),
        (b"", "broker: it hung up"),
        (b"\x20\x02\x00\x07", "broker: refused: reason 7"),
        (b"\x20\xff\xff\x7f", "broker: it sent a long packet"),
        (b"\x40\x02\x00\x01", "broker: its first words are not MQTT"),
    ],
)
def test_something_else_at_the_brokers_port(
    words: bytes, told: str, tmp_path: Path, time_server: TimeServer
) -> None:
    """It is named in one line, and tried again."""
    other = socket.create_server((HOST, free_port()))
    node = NodeProcess(tmp_path / "node", over_mqtt(other.getsockname()[1], time_server))

    def answer() -> None:
        for _ in range(2):
            end, _ = other.accept()
            end.recv(500)
            end.sendall(words)
            end.close()

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        node.start()
        assert eventually(lambda: node.said(told), 20)
        thread.join(20)
        assert not thread.is_alive()
        assert not node.said("Traceback")
    finally:
        node.kill()
        other.close()
