"""Which decoder reads what."""

from __future__ import annotations

import pytest

from collector.compose import decoders_of, mqtt_decoder, sources_of
from collector.counts import Counts
from collector.frame import Frame, Inbox
from config.errors import BadPayload
from config.settings import parse_settings
from config.sources import Mqtt, MqttSource

NOW_MS = 1_900_000_000_000
PACK = b'[{"n":"x","u":"Cel","v":23.1}]'


def test_every_source_has_its_decoder() -> None:
    settings = parse_settings(
        """
        [[serial]]
        port = "/dev/node"
        [[simulated]]
        probe = "s"
        [onewire]
        folder = "/sys/bus/w1/devices"
        [mqtt]
        host = "localhost"
        """,
        "here",
    )
    counts = Counts(lambda: 0)
    sources = sources_of(settings, Inbox(100, counts), counts)
    names = ["serial /dev/node", "1-wire", "simulated", "mqtt"]
    assert [source.name for source in sources] == names
    assert [source.ends_last for source in sources] == [False, False, False, True]
    decoders = decoders_of(settings, sources)
    read = decoders["serial /dev/node"](Frame("serial /dev/node", PACK, 0.0), NOW_MS)
    assert [one.raw for one in read.measured] == [23.1]
    read = decoders["1-wire"](Frame("1-wire", b"24125\n", 0.0, "28-0000071c2f2a"), NOW_MS)
    assert [one.raw for one in read.measured] == [24.125]


def test_nothing_configured_is_no_source() -> None:
    counts = Counts(lambda: 0)
    assert sources_of(parse_settings("", "here"), Inbox(100, counts), counts) == []


SETTINGS = Mqtt(
    host="h",
    source=(
        MqttSource(topic="shed/+", probe="a", temperature="/a"),
        MqttSource(topic="shed/two", probe="b", temperature="/b"),
        MqttSource(topic="warmcoil/old/senml", probe="c", temperature="payload"),
    ),
)


@pytest.mark.parametrize(
    ("topic", "payload", "found"),
    [
        ("warmcoil/node/senml", PACK, [("x", 23.1)]),
        ("warmcoil/old/senml", b"7", [("c", 7.0)]),  # the source's own word goes first
        ("shed/one", b'{"a":1}', [("a", 1.0)]),
        ("shed/two", b'{"a":1,"b":2}', [("a", 1.0), ("b", 2.0)]),
        ("shed/two", b'{"b":2}', [("b", 2.0)]),
    ],
)
def test_a_message_is_read_as_its_topic_asks(
    topic: str, payload: bytes, found: list[tuple[str, float]]
) -> None:
    decoded = mqtt_decoder(SETTINGS)(Frame("mqtt", payload, 0.0, topic), NOW_MS)
    assert [(one.probe, one.raw) for one in decoded.measured] == found


@pytest.mark.parametrize(
    ("topic", "payload", "told"),
    [
        ("attic", PACK, "the settings name no source with this topic"),
        ("shed/two", b"{}", 'probe a: JSON Pointer "/a": nothing is there; probe b: '),
        ("warmcoil/node/senml", b"7", "not a SenML pack"),
    ],
)
def test_what_no_source_can_read_is_refused(topic: str, payload: bytes, told: str) -> None:
    with pytest.raises(BadPayload) as caught:
        mqtt_decoder(SETTINGS)(Frame("mqtt", payload, 0.0, topic), NOW_MS)
    assert str(caught.value).startswith(told)
    assert "\n" not in str(caught.value)
