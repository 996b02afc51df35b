"""The broker as a board has it, a real one: pass words, TLS, and each node only as itself."""

from __future__ import annotations

import json
import os
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.broker import HOST, Mosquitto, free_port, mosquitto_path

DEPLOY = Path(__file__).parents[3] / "config" / "deploy" / "mosquitto"
USERS = {"warmcoil": "of the board", "node-1": "of the one", "node-2": "of the other"}
NOT_AUTHORIZED = "Not authorized"
"""Reason code 0x87 of MQTT 5, 2.4."""


TAKEN = ("Success", "No matching subscribers")
"""Reason codes 0x00 and 0x10: the broker has it."""


class Board(NamedTuple):
    """A broker with the shipped configuration, its TLS port and its authority's certificate."""

    broker: Mosquitto
    tls_port: int
    ca_file: Path


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Board]:
    if mosquitto_path() is None and not os.environ.get("CI"):
        pytest.skip("mosquitto is not installed")
    folder = tmp_path_factory.mktemp("broker")
    ca_file = _certificates(folder)
    passwords = folder / "warmcoil.passwords"
    for user, word in USERS.items():
        flags = ["-b"] if passwords.exists() else ["-b", "-c"]
        program = shutil.which("mosquitto_passwd") or "mosquitto_passwd"
        subprocess.run([program, *flags, str(passwords), user, word], check=True)
    passwords.chmod(0o600)
    access = folder / "warmcoil.acl"
    access.write_text((DEPLOY / "warmcoil.acl").read_text("utf-8"), "utf-8")
    access.chmod(0o600)
    tls_port = free_port()
    broker = Mosquitto(folder, *_as_shipped(folder, tls_port))
    broker.start()
    yield Board(broker, tls_port, ca_file)
    broker.stop()


def _as_shipped(folder: Path, tls_port: int) -> Iterator[str]:
    """The shipped lines: other paths, and the plain listener is the test broker's own."""
    for line in (DEPLOY / "warmcoil.conf").read_text("utf-8").splitlines():
        words = line.split()
        if not words or words[0].startswith("#") or words[:2] == ["listener", "1883"]:
            continue
        if words[0] == "listener":
            yield f"listener {tls_port} {HOST}"
        elif words[0].endswith("file"):
            yield f"{words[0]} {folder / Path(words[1]).name}"
        else:
            yield line


def _certificates(folder: Path) -> Path:
    """An authority of our own, and a certificate for 127.0.0.1, as DEVELOPERS.md says to make."""
    key, broker, ca = folder / "ca.key", folder / "warmcoil-broker", folder / "warmcoil-ca.crt"
    _openssl(
        "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
        "-keyout", key, "-out", ca, "-days", "30", "-subj", "/CN=Warmcoil home",
    )  # fmt: skip
    _openssl(
        "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
        f"{broker}.key", "-out", f"{broker}.csr", "-subj", "/CN=board",
    )  # fmt: skip
    names = folder / "names"
    names.write_text(f"subjectAltName=IP:{HOST}\n", "utf-8")
    _openssl(
        "x509", "-req", "-in", f"{broker}.csr", "-CA", ca, "-CAkey", key, "-CAcreateserial",
        "-out", f"{broker}.crt", "-days", "30", "-extfile", names,
    )  # fmt: skip
    return ca


def _openssl(*words: str | Path) -> None:
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


class Asker:
    """An MQTT 5 client that notes what it is told."""

    def __init__(self, user: str | None, word: str | None, client_id: str) -> None:
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5
        )
        if user is not None:
            self.client.username_pw_set(user, word)
        self.told: dict[str, str] = {}
        self.heard: list[str] = []
        self._news = threading.Condition()
        self.client.on_connect = lambda _c, _u, _f, code, _p: self._note("connected", str(code))
        self.client.on_publish = lambda _c, _u, _m, code, _p: self._note("published", str(code))
        self.client.on_subscribe = lambda _c, _u, _m, codes, _p: self._note(
            "subscribed", str(codes[0])
        )
        self.client.on_message = self._hear

    def _note(self, what: str, code: str) -> None:
        with self._news:
            self.told[what] = code
            self._news.notify_all()

    def _hear(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        with self._news:
            self.heard.append(message.topic)
            self._news.notify_all()

    def connect(self, port: int) -> str:
        self.client.connect(HOST, port)
        self.client.loop_start()
        return self.answer("connected")

    def publish(self, topic: str) -> str:
        self.told.pop("published", None)
        self.client.publish(topic, json.dumps([{"n": "x", "v": 1}]), qos=1)
        return self.answer("published")

    def subscribe(self, topic: str) -> str:
        self.told.pop("subscribed", None)
        self.client.subscribe(topic, qos=1)
        return self.answer("subscribed")

    def answer(self, what: str) -> str:
        with self._news:
            assert self._news.wait_for(lambda: what in self.told, 10), f"no answer: {what}"
            return self.told[what]

    def hears(self, topic: str) -> bool:
        with self._news:
            return self._news.wait_for(lambda: topic in self.heard, 10)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def asker(board: Board) -> Iterator[Any]:
    made: list[Asker] = []

    def ask(user: str, *, tls: bool = False) -> Asker:
        one = Asker(user, USERS[user], f"{user} {len(made)}")
        made.append(one)
        if tls:
            one.client.tls_set(str(board.ca_file))
        assert one.connect(board.tls_port if tls else board.broker.port) == "Success"
        return one

    yield ask
    for one in made:
        one.close()


@pytest.mark.parametrize(
    ("user", "word"), [(None, None), ("node-1", "of the other"), ("stranger", "of the one")]
)
def test_who_has_no_pass_word_is_turned_away(
    board: Board, user: str | None, word: str | None
) -> None:
    one = Asker(user, word, "nobody")
    try:
        assert one.connect(board.broker.port) == NOT_AUTHORIZED
    finally:
        one.close()


def test_a_node_publishes_as_itself_alone_and_the_board_hears_it(asker: Any) -> None:
    board, node = asker("warmcoil"), asker("node-1")
    assert board.subscribe("warmcoil/+/senml") == "Granted QoS 1"
    assert node.publish("warmcoil/node-2/senml") == NOT_AUTHORIZED
    assert node.publish("warmcoil/state/left shelf") == NOT_AUTHORIZED
    assert node.publish("warmcoil/node-1/other") == NOT_AUTHORIZED
    assert node.publish("warmcoil/node-1/senml") in TAKEN
    assert board.hears("warmcoil/node-1/senml")
    assert board.heard == ["warmcoil/node-1/senml"]


def test_a_node_reads_nothing(asker: Any) -> None:
    node, other = asker("node-2"), asker("node-1")
    for topic in ("warmcoil/+/senml", "warmcoil/state/#", "#", "$SYS/#"):
        node.subscribe(topic)
    assert other.publish("warmcoil/node-1/senml") in TAKEN
    assert asker("warmcoil").publish("warmcoil/state/left shelf") in TAKEN
    assert node.publish("warmcoil/node-2/senml") in TAKEN  # its answer comes after the others
    assert node.heard == []


def test_the_board_shares_its_reading_with_another_board(asker: Any) -> None:
    board, node = asker("warmcoil"), asker("node-1")
    assert board.subscribe("$share/boards/warmcoil/+/senml") == "Granted QoS 1"
    assert node.publish("warmcoil/node-1/senml") in TAKEN
    assert board.hears("warmcoil/node-1/senml")


def test_over_tls_with_our_own_authority(asker: Any) -> None:
    assert asker("node-1", tls=True).publish("warmcoil/node-1/senml") in TAKEN


def test_a_stranger_in_the_brokers_place_is_not_believed(board: Board) -> None:
    careful = ssl.create_default_context()  # the machine's authorities: ours is not among them
    with (
        socket.create_connection((HOST, board.tls_port), timeout=10) as line,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        careful.wrap_socket(line, server_hostname=HOST)


def test_a_message_that_is_far_too_large_ends_the_connection(board: Board, asker: Any) -> None:
    node = asker("node-1")
    gone = threading.Event()
    node.client.on_disconnect = lambda *_: gone.set()
    node.client.publish("warmcoil/node-1/senml", b"x" * 100_000, qos=0)
    assert gone.wait(10)
    assert asker("node-2").publish("warmcoil/node-2/senml") in TAKEN
