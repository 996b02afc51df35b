"""MQTT 3.1.1 packets (OASIS standard), as many as a node needs that only publishes. No I/O."""

CONNACK, PUBACK, PINGRESP = 2, 4, 13
PING = b"\xc0\x00"

_REFUSED = (
    "",
    "it does not speak MQTT 3.1.1",
    "it does not like the node's name",
    "it is not available",
    "wrong user name or password",
    "not allowed",
)


class MqttFault(Exception):
    """The broker refused, or said what it should not; the text says what."""


def connect(
    name: str,
    keep_alive_s: int,
    will: tuple[str, bytes],
    login: tuple[str, str] | None,
) -> bytes:
    """CONNECT with a clean session, a last will (topic, message) at QoS 1, and a login.

    A node only publishes and keeps what is not acknowledged itself: there is nothing that a
    broker should keep for it.
    """
    flags = 0x02 | 0x04 | 0x08  # clean, will, will at QoS 1
    body = _text(name) + _text(will[0]) + _sized(will[1])
    if login is not None:
        flags |= 0xC0
        body += _text(login[0]) + _text(login[1])
    head = _text("MQTT") + bytes([4, flags]) + keep_alive_s.to_bytes(2, "big")
    return _packet(0x10, head + body)


def publish(topic: str, message: bytes, number: int) -> bytes:
    """PUBLISH at QoS 1.

    Never marked as sent before (DUP): the session is a clean one on every connection, so that
    what is sent again is a new message to the broker. The readings in it are known by their times.
    """
    return _packet(0x32, _text(topic) + number.to_bytes(2, "big") + message)


def check_welcome(kind: int, body: bytes) -> None:
    """The answer to CONNECT. Raises MqttFault unless it is a welcome."""
    if kind != CONNACK or len(body) != 2:
        raise MqttFault("its first words are not MQTT")
    if body[1]:
        why = _REFUSED[body[1]] if body[1] < len(_REFUSED) else f"reason {body[1]}"
        raise MqttFault("refused: " + why)


def acknowledged(kind: int, body: bytes) -> int | None:
    """The number in a PUBACK, None for another packet that may come. Raises MqttFault."""
    if kind == PUBACK and len(body) == 2:
        return body[0] << 8 | body[1]
    if kind == PINGRESP and not body:
        return None
    raise MqttFault(f"it sent a packet of kind {kind}, which a node does not expect")


def _packet(head: int, body: bytes) -> bytes:
    length = len(body)
    sizes = bytearray()
    while True:
        length, size = length >> 7, length & 0x7F
        sizes.append(size | 0x80 if length else size)
        if not length:
            return bytes([head]) + bytes(sizes) + body


def _text(text: str) -> bytes:
    return _sized(text.encode())


def _sized(data: bytes) -> bytes:
    return len(data).to_bytes(2, "big") + data
