"""`python -m analysis.watch.publish --home DIR`: publish what the watch says, retained, and end
with it.

A process of its own: a broker that hangs must not hold up an evaluation, and its client is heavy.
It reads lines of JSON, [topic, payload], keeps the newest of each topic, and sends them again to a
broker that comes back. At QoS 0: with QoS 1 the client itself sends again what was not acknowledged
before the connection broke, after the newest, and the old one stays as the retained message.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from analysis.watch.logs import log_to_stderr
from config.errors import WarmcoilError
from config.home import Home
from config.settings import load_settings
from config.sources import Mqtt

_MOST_TOPICS = 5_000
_KEEPALIVE_S = 60
_LAST_SECONDS = 2.0
_LOG = logging.getLogger(__name__)


class Publisher:
    """The newest payload of every topic, on its way to one broker."""

    def __init__(self, settings: Mqtt, host: str) -> None:
        self._newest: dict[str, str] = {}
        self._client = _client(settings)
        self._client.on_connect = self._connected
        self._client.on_connect_fail = self._away
        self._client.reconnect_delay_set(1, 60)
        self._client.connect_async(host, settings.port, _KEEPALIVE_S)
        self._client.loop_start()
        self._said_away = False

    def say(self, topic: str, payload: str) -> None:
        """Publish it now, or when there is a broker."""
        if topic not in self._newest and len(self._newest) >= _MOST_TOPICS:
            _LOG.warning("too many topics; the state of one enclosure is not published")
            return
        self._newest[topic] = payload
        if self._client.is_connected():
            self._client.publish(topic, payload, qos=0, retain=True)

    def close(self) -> None:
        """Send what is under way, for a moment, and leave."""
        until_s = time.monotonic() + _LAST_SECONDS
        while self._client.want_write() and time.monotonic() < until_s:
            time.sleep(0.05)
        self._client.disconnect()
        self._client.loop_stop()

    def _connected(self, client: paho.Client, *_: Any) -> None:
        self._said_away = False
        for topic, payload in list(self._newest.items()):
            client.publish(topic, payload, qos=0, retain=True)

    def _away(self, *_: Any) -> None:
        if not self._said_away:
            self._said_away = True
            _LOG.warning("no broker: the enclosures' states are published when it is back")


def _client(settings: Mqtt) -> paho.Client:
    old = settings.protocol == "3.1.1"
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"{settings.client_id}-state",
        protocol=paho.MQTTv311 if old else paho.MQTTv5,
    )
    client.max_queued_messages_set(_MOST_TOPICS)
    if settings.tls:
        client.tls_set(ca_certs=str(settings.ca_file) if settings.ca_file else None)
    if settings.username is not None:
        file = settings.password_file
        password = file.read_text(encoding="utf-8").strip() if file is not None else None
        client.username_pw_set(settings.username, password)
    return client


def publish(home: Home) -> int:
    """Publish every line of standard input until it ends; the exit code."""
    settings = load_settings(home).mqtt
    if settings.host is None:
        return 0
    publisher = Publisher(replace_paths(settings, home), settings.host)
    for line in sys.stdin:
        topic, payload = json.loads(line)
        publisher.say(topic, json.dumps(payload, ensure_ascii=False))
    publisher.close()
    return 0


def replace_paths(settings: Mqtt, home: Home) -> Mqtt:
    """The settings with their files where the home is."""
    return settings.model_copy(
        update={
            name: home.folder / file.expanduser()
            for name in ("password_file", "ca_file")
            if (file := getattr(settings, name)) is not None
        }
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """The process."""
    parser = argparse.ArgumentParser(prog="python -m analysis.watch.publish")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    given = parser.parse_args(arguments)
    log_to_stderr()
    try:
        return publish(Home(given.home))
    except (WarmcoilError, OSError) as fault:
        _LOG.error("the enclosures' states are not published: %s", fault)
        return 1
    except KeyboardInterrupt:
        return 0


if __name__ == "__main__":
    sys.exit(main())
