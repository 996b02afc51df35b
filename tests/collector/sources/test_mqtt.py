"""The MQTT source against a real broker."""

from __future__ import annotations

import logging
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.sources.mqtt import MqttBroker
from collector.sources.mqtt_client import IN_FLIGHT, topics_of
from config.errors import BadSettings
from config.sources import Mqtt, MqttSource
from tests.broker import HOST, Mosquitto, mosquitto_path
from tests.plug import eventually

__all__ = ["broker"]
from tests.broker import broker

pytestmark = pytest.mark.broker

PACK = b'[{"n":"urn:dev:mac:0024beffff804ff1","u":"Cel","v":23.1}]'


class Listening:
    """The source in its thread. Frames are acknowledged by hand."""

    def __init__(self, port: int, **more: Any) -> None:
        self.counts = Counts(lambda: 0)
        self.inbox = Inbox(1000, self.counts)
        settings = Mqtt(host=HOST, port=port, **more)
        self.source = MqttBroker(settings, self.inbox, self.counts)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.source.run, args=(self._stop,))
        self._thread.start()

    def connected(self) -> bool:
        tally = self.counts.tallies().get("mqtt")
        return tally is not None and tally.connected

    def frame(self, patience_s: float = 10.0) -> Frame:
        frame = self.inbox.get(patience_s)
        assert frame is not None
        return frame

    def acknowledged(self, patience_s: float = 10.0) -> Frame:
        frame = self.frame(patience_s)
        assert frame.delivery is not None
        frame.delivery.acknowledge()
        return frame

    def stop(self) -> None:
        self._stop.set()
        self.source.wake()
        self._thread.join(10)
        assert not self._thread.is_alive()


class Publisher:
    """A node of its own. `said` waits until the broker has taken the message."""

    def __init__(self, port: int) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.connect(HOST, port)
        self._client.loop_start()

    def said(self, payload: bytes, topic: str = "warmcoil/n/senml", **more: Any) -> None:
        self._client.publish(topic, payload, **{"qos": 1, **more}).wait_for_publish(10)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def publisher(broker: Mosquitto) -> Iterator[Publisher]:
    made = Publisher(broker.port)
    yield made
    made.close()


@pytest.fixture
def listening(broker: Mosquitto) -> Iterator[Listening]:
    made = Listening(broker.port)
    assert eventually(made.connected)
    yield made
    made.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_message_arrives_with_its_topic(
    broker: Mosquitto, publisher: Publisher, protocol: str
) -> None:
    listening = Listening(broker.port, protocol=protocol)
    assert eventually(listening.connected)
    publisher.said(PACK)
    frame = listening.acknowledged()
    assert (frame.label, frame.payload) == ("warmcoil/n/senml", PACK)
    assert frame.delivery is not None
    assert not frame.delivery.again
    assert not frame.stale
    listening.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(
    broker: Mosquitto, publisher: Publisher, protocol: str
) -> None:
    listening = Listening(broker.port, protocol=protocol)
    assert eventually(listening.connected)
    for number in range(4):
        publisher.said(b"%d" % number)
    first = [listening.frame() for _ in range(4)]
    for frame in first[:2]:
        assert frame.delivery is not None
        frame.delivery.acknowledge()
    listening.stop()
    publisher.said(b"while it was away")

    back = Listening(broker.port, protocol=protocol)
    frames = [back.acknowledged() for _ in range(3)]
    assert [frame.payload for frame in frames] == [b"2", b"3", b"while it was away"]
    before = [frame.delivery for frame in first[2:] if frame.delivery]
    after = [frame.delivery for frame in frames if frame.delivery]
    # The third may have been sent into the closing connection too: the broker decides.
    assert [one.again for one in after[:2]] == [True, True]
    assert [(one.mid, one.digest) for one in before] == [(one.mid, one.digest) for one in after[:2]]
    assert back.inbox.get(0.3) is None
    back.stop()


def test_a_broker_that_restarts_is_found_again(
    broker: Mosquitto, listening: Listening, publisher: Publisher
) -> None:
    publisher.said(b"before")
    unacknowledged = listening.frame()
    broker.stop()
    assert eventually(lambda: not listening.connected())
    broker.start()
    assert eventually(listening.connected)
    # The old connection's acknowledgement is worth nothing now: the message comes again.
    assert unacknowledged.delivery is not None
    unacknowledged.delivery.acknowledge()
    again = listening.acknowledged()
    assert again.payload == b"before"
    other = Publisher(broker.port)
    other.said(b"after")
    assert listening.acknowledged().payload == b"after"
    other.close()


@pytest.mark.parametrize(("protocol", "most"), [("5", IN_FLIGHT), ("3.1.1", 20)])
def test_the_broker_is_held_back_by_what_is_not_acknowledged(
    broker: Mosquitto, publisher: Publisher, protocol: str, most: int
) -> None:
    listening = Listening(broker.port, protocol=protocol)
    assert eventually(listening.connected)
    for number in range(most + 50):
        publisher.said(b"%d" % number)
    # With MQTT 5 we name the number; else it is mosquitto's own max_inflight_messages.
    assert eventually(lambda: len(listening.inbox) == most)
    assert not eventually(lambda: len(listening.inbox) > most, 0.3)
    payloads = [listening.acknowledged().payload for _ in range(most + 50)]
    assert payloads == [b"%d" % number for number in range(most + 50)]
    listening.stop()


def test_messages_kept_for_newcomers_are_not_asked_for_or_marked(
    broker: Mosquitto, publisher: Publisher
) -> None:
    publisher.said(PACK, retain=True)
    new = Listening(broker.port, client_id="five")
    assert eventually(new.connected)
    old = Listening(broker.port, client_id="three", protocol="3.1.1")
    assert old.acknowledged().stale
    assert new.inbox.get(0.3) is None
    publisher.said(PACK, retain=True)
    assert not new.acknowledged().stale
    assert not old.acknowledged().stale
    new.stop()
    old.stop()


def test_a_message_past_all_measure_is_not_sent_to_us(
    listening: Listening, publisher: Publisher
) -> None:
    publisher.said(b"x" * 1_000_000)
    publisher.said(PACK)
    assert listening.acknowledged().payload == PACK


def test_a_message_nobody_waits_for_has_no_delivery(
    listening: Listening, publisher: Publisher
) -> None:
    publisher.said(PACK, qos=0)
    assert listening.frame().delivery is None


def test_a_broker_that_is_not_there_is_said_once(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "collector")
    listening = Listening(9)  # the discard port: nobody listens
    assert eventually(lambda: bool(caplog.messages))
    assert not eventually(lambda: len(caplog.messages) > 1, 1.5)
    assert f"{HOST}:9: cannot be reached" in caplog.messages[0]
    listening.stop()


# ---- who may connect -----------------------------------------------------------------------------


def test_the_password_comes_from_a_file(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    if mosquitto_path() is None:
        pytest.skip("mosquitto is not installed (Debian package mosquitto)")
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "collector", "sesame"], check=True
    )
    passwords.chmod(0o600)
    broker = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}")
    broker.start()
    secret = tmp_path / "secret"
    secret.write_text("wrong\n")
    listening = Listening(broker.port, username="collector", password_file=secret)
    assert eventually(lambda: "mqtt.password_file" in caplog.text)
    assert "Not authorized" in caplog.text
    assert not listening.connected()
    secret.write_text("sesame\n")  # read anew at every try
    assert eventually(listening.connected, 15)
    listening.stop()
    broker.stop()


def test_files_that_cannot_be_used_are_said_at_the_start(tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match=r"mqtt.password_file: .* cannot be read"):
        Listening(9, username="c", password_file=tmp_path / "none")
    with pytest.raises(BadSettings, match=r"mqtt.ca_file: .* is not usable"):
        Listening(9, tls=True, ca_file=tmp_path / "none")


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_tls(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    if mosquitto_path() is None:
        pytest.skip("mosquitto is not installed (Debian package mosquitto)")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", str(key), "-out", str(certificate)),
        ],
        check=True,
        capture_output=True,
    )
    broker = Mosquitto(
        tmp_path, "allow_anonymous true", f"certfile {certificate}", f"keyfile {key}"
    )
    broker.start()
    trusting = Listening(broker.port, tls=True, ca_file=certificate)
    assert eventually(trusting.connected)
    trusting.stop()
    assert "cannot be reached" not in caplog.text
    wary = Listening(broker.port, tls=True)
    assert eventually(lambda: "certificate verify failed" in caplog.text)
    wary.stop()
    broker.stop()


def test_no_topic_is_subscribed_to_twice() -> None:
    settings = Mqtt(
        host="h",
        source=(
            MqttSource(topic="warmcoil/a/senml", probe="a", temperature="payload"),
            MqttSource(topic="shed/two", probe="b", temperature="/b"),
            MqttSource(topic="shed/two", probe="c", temperature="/c"),
            MqttSource(topic="attic/#", probe="d", temperature="/d"),
        ),
    )
    assert topics_of(settings) == ["warmcoil/+/senml", "attic/#", "shed/two"]
