"""From the settings to an MQTT client: its protocol, session, password, TLS and subscriptions."""

from __future__ import annotations

from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from config.errors import BadSettings
from config.sources import Mqtt

LONGEST_MESSAGE = 65_536
"""Bytes; a longer one is not a reading."""
IN_FLIGHT = 256
"""Messages the broker may send before it waits for acknowledgements (MQTT 5 receive maximum)."""
_KEEPALIVE_S = 60
_CONNECT_TIMEOUT_S = 3.0
_LONGEST_EXPIRY_S = 0xFFFF_FFFE
"""One less than MQTT 5's word for "never"."""


def new_client(settings: Mqtt) -> paho.Client:
    """A client that is not connected, acknowledges nothing by itself and never reconnects alone.

    Raises BadSettings when a file that the settings name cannot be used.
    """
    old = settings.protocol == "3.1.1"
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.client_id,
        clean_session=False if old else None,
        protocol=paho.MQTTv311 if old else paho.MQTTv5,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    client.connect_timeout = _CONNECT_TIMEOUT_S
    if settings.tls:
        try:
            client.tls_set(ca_certs=str(settings.ca_file) if settings.ca_file else None)
        except OSError as fault:
            raise BadSettings(f"mqtt.ca_file: {settings.ca_file} is not usable: {fault}") from fault
    _password(settings.password_file)  # say now what is wrong with it
    return client


def connect(client: paho.Client, settings: Mqtt, host: str) -> None:
    """Connect, and take up the session the broker has kept. Raises OSError.

    The password file is read each time, so that a new password needs no restart.
    """
    if settings.username is not None:
        client.username_pw_set(settings.username, _password(settings.password_file))
    if settings.protocol == "3.1.1":
        client.connect(host, settings.port, _KEEPALIVE_S)
        return
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's gap
    expiry_s = round(settings.session_days * 86_400)
    properties.SessionExpiryInterval = min(expiry_s, _LONGEST_EXPIRY_S)
    properties.ReceiveMaximum = IN_FLIGHT
    properties.MaximumPacketSize = LONGEST_MESSAGE
    client.connect(host, settings.port, _KEEPALIVE_S, clean_start=False, properties=properties)


def subscribe(client: paho.Client, settings: Mqtt) -> None:
    """Subscribe to all topics of the settings at QoS 1."""
    topics = topics_of(settings)
    if settings.protocol == "3.1.1":
        client.subscribe([(topic, 1) for topic in topics])
        return
    # Retained messages are old news: a reading without a time would be stamped with now.
    options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
    ahead = "" if settings.share is None else f"$share/{settings.share}/"
    client.subscribe([(ahead + topic, options) for topic in topics])


def topics_of(settings: Mqtt) -> list[str]:
    """The topics to subscribe to. One that the SenML topic already covers would come twice."""
    others = {source.topic for source in settings.source} - {settings.topic}
    own = {
        topic
        for topic in others
        if "+" in topic or "#" in topic or not paho.topic_matches_sub(settings.topic, topic)
    }
    return [settings.topic, *sorted(own)]


def _password(file: Path | None) -> str | None:
    """The password in `file`: its first line. Raises BadSettings when it cannot be read."""
    if file is None:
        return None
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise BadSettings(f"mqtt.password_file: {file} cannot be read: {fault}") from fault
    return lines[0] if lines else ""
