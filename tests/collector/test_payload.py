"""Messages of sensors that do not speak SenML."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.payload import decode, value_at
from collector.readings import Quantity
from config.errors import BadPayload
from config.sources import MqttSource

# RFC 6901 section 5 (read): the document and its twelve pointers.
RFC_6901 = json.loads(
    r"""{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5,
         "k\"l": 6, " ": 7, "m~n": 8}"""
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC_6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_rfc_6901_section_5(pointer: str, value: object) -> None:
    assert value_at(RFC_6901, pointer) == value


@pytest.mark.parametrize(
    "pointer", ["foo", "/foo/01", "/foo/~2", "/foo/-", "/foo/2", "/foo/bar", "/nothing", "/m~n"]
)
def test_rfc_6901_errors_are_one_line_without_the_document(pointer: str) -> None:
    with pytest.raises(BadPayload) as caught:
        value_at(RFC_6901, pointer)
    assert "\n" not in str(caught.value)
    assert "baz" not in str(caught.value)
    assert json.dumps(pointer) in str(caught.value)


def test_a_minus_that_is_a_key_is_a_key() -> None:
    assert value_at({"-": 4}, "/-") == 4


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"23.5", 23.5),
        (b" -4 \n", -4),
        (b"+1.5e1", 15),
        (b".5", 0.5),
        (b"85", 85),
    ],
)
def test_the_whole_payload_is_the_number(payload: bytes, value: float) -> None:
    source = MqttSource(topic="t", probe="p", temperature="payload")
    (one,) = decode(payload, source).measured
    assert (one.probe, one.quantity, one.raw) == ("p", Quantity.TEMPERATURE, value)
    assert (one.at_ms, one.offset_ms) == (None, 0)


@pytest.mark.parametrize(
    "payload",
    [
        *(b"", b"nan", b"inf", b"unavailable", b"23,5", b"0x10", b"1_000", b"1 2", b"\xff"),
        *(b"1e999", b"9" * 100, "２３".encode()),
    ],
)
def test_what_is_no_number_is_refused(payload: bytes) -> None:
    with pytest.raises(BadPayload):
        decode(payload, MqttSource(topic="t", probe="p", temperature="payload"))


def test_pointers_and_units() -> None:
    source = MqttSource(
        topic="t",
        probe="p",
        temperature="/air/t",
        humidity="/air/h",
        voltage="/battery",
        temperature_unit="degF",
    )
    decoded = decode(b'{"air":{"t":77,"h":"55.5"},"battery":3.1}', source)
    assert [(one.quantity, one.raw) for one in decoded.measured] == [
        (Quantity.TEMPERATURE, 25.0),
        (Quantity.HUMIDITY, 55.5),
        (Quantity.VOLTAGE, 3.1),
    ]


def test_kelvin() -> None:
    source = MqttSource(topic="t", probe="p", temperature="payload", temperature_unit="K")
    assert decode(b"358.15", source).measured[0].raw == 85.0


def test_what_is_missing_costs_only_itself() -> None:
    source = MqttSource(topic="t", probe="p", temperature="/t", humidity="/h", voltage="/v")
    decoded = decode(b'{"t":20,"v":null}', source)
    assert [one.raw for one in decoded.measured] == [20]
    assert [(one.reason, one.detail) for one in decoded.ignored] == [
        ("null", "/v is null"),
        ("unreadable", 'JSON Pointer "/h": nothing is there'),
    ]


@pytest.mark.parametrize(
    ("payload", "told"),
    [
        (b'{"t":true}', 'JSON Pointer "/t": true is not a number'),
        (b'{"t":[1]}', 'JSON Pointer "/t": [1] is not a number'),
        (b'{"t":"warm"}', '"warm" is not a number'),
        (b"{}", 'JSON Pointer "/t": nothing is there'),
        (b"7", 'JSON Pointer "/t": nothing is there'),
        (b'{"t":1,"t":2}', 'not usable JSON: the key "t" comes twice'),
        (b'{"t":NaN}', "not JSON: NaN is not a number"),
        (b"{", "not JSON: Expecting property name enclosed in double quotes at character 2"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_line(payload: bytes, told: str) -> None:
    with pytest.raises(BadPayload) as caught:
        decode(payload, MqttSource(topic="t", probe="p", temperature="/t"))
    assert str(caught.value) == told


@given(st.binary(max_size=80))
def test_rubbish_is_read_or_refused_and_nothing_else(payload: bytes) -> None:
    for where in ("payload", "/t"):
        assert "\n" not in fault_of(payload, where)


def fault_of(payload: bytes, where: str) -> str:
    try:
        decode(payload, MqttSource(topic="t", probe="p", temperature=where))
    except BadPayload as fault:
        return str(fault)
    return ""
