"""The MQTT broker (MQTT 5, or 3.1.1): a session that outlives us, acknowledged after the commit.

One thread runs everything of the client, so that no two ever write to one socket. The pipeline
hands its acknowledgements over and wakes that thread.

The broker keeps what is not acknowledged, and all that arrives while the collector is away, and
sends it (again) when the collector is back. An acknowledgement counts on the connection that its
message came over, and on no later one: message ids start anew with a new session.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import select
import socket
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from collector.backoff import Backoff
from collector.counts import Counts
from collector.frame import Delivery, Frame, Inbox
from collector.sources.mqtt_client import IN_FLIGHT, LONGEST_MESSAGE, connect, new_client, subscribe
from collector.sources.source import Source
from config.errors import BadSettings
from config.sources import Mqtt

log = logging.getLogger("collector")

_FIRST_WAIT_S, _MOST_WAIT_S = 0.5, 15.0
"""Our own choice: an alarm waits for the longest, and a client's tries are nothing to a broker."""
_STEADY_S = 10.0
"""A connection that lasted this long was a good one: the next wait starts small again."""
_LISTEN_S = 1.0
_FAREWELL_S = 1.0

_HINTS = {
    "Not authorized": "; check mqtt.username and mqtt.password_file",
    "Bad user name or password": "; check mqtt.username and mqtt.password_file",
    "Unsupported protocol version": '; set mqtt.protocol = "3.1.1" for this broker',
    "Session taken over": "; another client has the same mqtt.client_id",
}


def digest(topic: str, payload: bytes) -> bytes:
    """Tells a message from another that was given the same id (8 bytes, BLAKE2)."""
    return hashlib.blake2b(topic.encode() + b"\0" + payload, digest_size=8).digest()


class MqttBroker(Source):
    """Subscribes to the topics of the settings and queues every message."""

    name = "mqtt"
    ends_last = True

    def __init__(
        self,
        settings: Mqtt,
        inbox: Inbox,
        counts: Counts,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        if settings.host is None:
            raise BadSettings("mqtt.host: without a host there is no broker to connect to")
        self._settings = settings
        self._host = settings.host
        self._inbox = inbox
        self._counts = counts
        self._monotonic = monotonic
        self._stop = threading.Event()
        self._acks: deque[tuple[int, int]] = deque()  # connection, message id
        self._connection = 0
        self._messages = 0
        self._connected_s: float | None = None
        self._said: str | None = None
        self._backoff = Backoff(_FIRST_WAIT_S, _MOST_WAIT_S)
        self._alarm_clock: socket.socket | None = None
        self._client = new_client(settings)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message

    # ---- life --------------------------------------------------------------------------------

    def run(self, stop: threading.Event) -> None:
        """Connect, listen, and connect again, until `stop`; then acknowledge what is owed."""
        self._stop = stop
        self._counts.connection(self.name, up=False)
        ear, self._alarm_clock = socket.socketpair()
        with ear, self._alarm_clock:
            ear.setblocking(False)
            self._alarm_clock.setblocking(False)
            while not stop.is_set():
                self._one_connection(ear)
                stop.wait(self._backoff.next_s())

    def wake(self) -> None:
        """Let the thread look at its acknowledgements and at `stop` now."""
        if self._alarm_clock is not None:
            # Full: it is being woken already. Closed: it has ended.
            with contextlib.suppress(OSError):
                self._alarm_clock.send(b"!")

    def _one_connection(self, ear: socket.socket) -> None:
        self._connection += 1
        self._connected_s = None
        try:
            connect(self._client, self._settings, self._host)
            while not self._stop.is_set():
                if self._step(ear) != MQTTErrorCode.MQTT_ERR_SUCCESS:
                    break
            else:
                self._farewell()
        except (OSError, BadSettings) as fault:  # TLS faults are OSErrors too
            self._complain(f"cannot be reached: {fault}")
        self._counts.connection(self.name, up=False)
        if self._was_steady():
            self._backoff.reset()

    def _was_steady(self) -> bool:
        since_s = self._connected_s
        return since_s is not None and self._monotonic() - since_s >= _STEADY_S

    def _step(self, ear: socket.socket) -> MQTTErrorCode:
        """Wait for the broker or a wake-up, and do what is to be done."""
        sock = self._client.socket()
        if not isinstance(sock, socket.socket):
            return MQTTErrorCode.MQTT_ERR_CONN_LOST
        decrypted = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
        writing = [sock] if self._client.want_write() else []
        readable, _, _ = select.select([sock, ear], writing, [], 0.0 if decrypted else _LISTEN_S)
        if ear in readable:
            ear.recv(4096)
        if decrypted or sock in readable:
            fault = self._read_waiting()
            if fault != MQTTErrorCode.MQTT_ERR_SUCCESS:
                return fault
        self._acknowledge()
        if self._client.want_write():
            self._client.loop_write()
        return self._client.loop_misc()

    def _read_waiting(self) -> MQTTErrorCode:
        """Read the packets that are there: one at least, and on while each was a message."""
        for _ in range(IN_FLIGHT):
            before = self._messages
            fault = self._client.loop_read()
            if fault != MQTTErrorCode.MQTT_ERR_SUCCESS or self._messages == before:
                return fault
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def _farewell(self) -> None:
        """Send the last acknowledgements, then say goodbye; the session stays with the broker."""
        self._acknowledge()
        self._client.disconnect()
        until_s = self._monotonic() + _FAREWELL_S
        while self._client.socket() is not None and self._monotonic() < until_s:
            self._client.loop_write()

    def _acknowledge(self) -> None:
        while self._acks:
            connection, mid = self._acks.popleft()
            if connection == self._connection:
                self._client.ack(mid, 1)

    # ---- the client's events, in the same thread -----------------------------------------------

    def _on_connect(
        self,
        client: paho.Client,
        _userdata: object,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._complain(f"refused: {_told(reason)}")
            return
        self._connected_s = self._monotonic()
        self._said = None
        known = "with the session it kept" if flags.session_present else "with a new session"
        log.info("%s: connected to %s:%d %s", self.name, self._host, self._settings.port, known)
        subscribe(client, self._settings)
        self._counts.connection(self.name, up=True)

    def _on_subscribe(
        self,
        _client: paho.Client,
        _userdata: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        for reason in reasons:
            if reason.is_failure:
                self._complain(f"a subscription was refused: {_told(reason)}")
        if not any(reason.is_failure for reason in reasons):
            log.info("%s: subscribed", self.name)

    def _on_disconnect(
        self,
        _client: paho.Client,
        _userdata: object,
        _flags: paho.DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self._connected_s is not None and not self._stop.is_set():
            self._complain(f"connection lost: {_told(reason)}")

    def _on_message(
        self, _client: paho.Client, _userdata: object, message: paho.MQTTMessage
    ) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "(not UTF-8)"  # matches no source: dropped and counted
        self._messages += 1
        payload = bytes(message.payload[:LONGEST_MESSAGE])
        frame = Frame(
            self.name,
            payload,
            self._monotonic(),
            label=topic,
            delivery=self._delivery(message, topic, payload) if message.qos else None,
            stale=message.retain,
        )
        self._inbox.put(frame, self._stop)

    def _delivery(self, message: paho.MQTTMessage, topic: str, payload: bytes) -> Delivery:
        connection, mid = self._connection, message.mid

        def acknowledge() -> None:
            self._acks.append((connection, mid))
            if len(self._acks) == 1:  # else that thread is awake, or has been woken for one before
                self.wake()

        return Delivery(mid, digest(topic, payload), message.dup, acknowledge)

    def _complain(self, text: str) -> None:
        """Say what is wrong with the broker, once."""
        if text != self._said:
            self._said = text
            where = f"{self._host}:{self._settings.port}"
            log.warning("%s: %s: %s; it is tried again", self.name, where, " ".join(text.split()))


def _told(reason: ReasonCode) -> str:
    """The broker's reason, with what to do where that is known."""
    return f"{reason}{_HINTS.get(str(reason), '')}"
