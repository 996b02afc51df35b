"""Lines on a serial link."""

from __future__ import annotations

import pytest
from crccheck.crc import Crc16Ibm3740
from hypothesis import given
from hypothesis import strategies as st

from collector.serial_frame import LONGEST_LINE, BadLine, Lines, crc16, decode, encode
from config.errors import BadPayload

PACK = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'

_LINE_TEXT = st.text(
    st.characters(exclude_characters="\r\n", exclude_categories=["Cs"]), max_size=200
)


def test_the_check_value_of_crc_16_ibm_3740() -> None:
    assert crc16(b"123456789") == 0x29B1  # computed with crccheck


@given(st.binary(max_size=300))
def test_the_checksum_is_the_one_of_crccheck(data: bytes) -> None:
    assert crc16(data) == Crc16Ibm3740.calc(data)


def test_a_line_by_hand() -> None:
    assert encode("123456789") == b"123456789*29B1\n"
    assert decode(b"123456789*29b1") == "123456789"


@given(_LINE_TEXT)
def test_a_line_comes_back(text: str) -> None:
    assert decode(encode(text)) == text


@given(_LINE_TEXT, st.data())
def test_one_changed_byte_is_noticed(text: str, data: st.DataObject) -> None:
    line = bytearray(encode(text)[:-1])
    at = data.draw(st.integers(0, len(line) - 1))
    line[at] ^= data.draw(st.integers(1, 255))
    if line.lower() != encode(text)[:-1].lower():  # the case of the hex digits is free
        with pytest.raises(BadLine):
            decode(bytes(line))


@given(_LINE_TEXT, st.data())
def test_a_torn_line_is_noticed(text: str, data: st.DataObject) -> None:
    line = encode(text)[:-1]
    start = data.draw(st.integers(1, len(line)))
    try:
        found = decode(line[start:])
    except BadLine:
        return
    assert crc16(found.encode()) == crc16(text.encode())  # one in 65,536 passes by chance


def test_the_longest_line_counts_its_line_feed() -> None:
    fits = "a" * (LONGEST_LINE - 6)
    assert len(encode(fits)) == LONGEST_LINE
    assert decode(encode(fits)) == fits
    with pytest.raises(BadPayload, match="1025 bytes; 1024 are allowed"):
        encode(fits + "a")


def test_a_line_break_cannot_be_sent() -> None:
    with pytest.raises(BadPayload, match="line break"):
        encode("[\n]")


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"", "no checksum"),
        (b"*29B", "no checksum"),
        (b"123456789", "no checksum"),
        (b"123456789*29B1 ", "no checksum"),
        (b"123456789*29B1\r", "no checksum"),
        (b"123456789*+9B1", "no checksum"),
        (b"123456789*29B2", "wrong checksum"),
        (b"\xff*%04X" % crc16(b"\xff"), "not UTF-8"),
        (b"a" * 1024, "overlong line"),
    ],
)
def test_bad_lines_and_what_they_are_counted_as(line: bytes, reason: str) -> None:
    with pytest.raises(BadLine) as caught:
        decode(line)
    assert caught.value.reason == reason
    assert "\n" not in str(caught.value)


# ---- cutting a stream into lines ---------------------------------------------------------------


@given(st.binary(max_size=600), st.lists(st.integers(1, 50), max_size=40))
def test_the_cuts_do_not_matter(stream: bytes, sizes: list[int]) -> None:
    whole, pieces = Lines(), Lines()
    expected = whole.feed(stream)
    found, at = [], 0
    for size in [*sizes, len(stream)]:
        found += pieces.feed(stream[at : at + size])
        at += size
    assert found == expected
    assert b"\n".join([*expected, b""]) == stream[: stream.rfind(b"\n") + 1]


@given(st.lists(st.integers(0, 3 * LONGEST_LINE), max_size=6), st.integers(1, 700))
def test_overlong_lines_are_dropped_whole_and_never_kept(lengths: list[int], size: int) -> None:
    stream = b"".join(bytes([65 + i]) * length + b"\n" for i, length in enumerate(lengths))
    lines, found = Lines(), []
    for at in range(0, len(stream), size):
        found += lines.feed(stream[at : at + size])
        assert lines.buffered <= LONGEST_LINE
    fitting = [i for i, length in enumerate(lengths) if length < LONGEST_LINE]
    assert found == [bytes([65 + i]) * lengths[i] for i in fitting]
    assert lines.overlong == len(lengths) - len(fitting)


def test_a_good_line_after_rubbish_is_read() -> None:
    lines = Lines()
    found = lines.feed(b"\x00\xff" * 5000 + b"\n" + encode(PACK))
    assert [decode(line) for line in found] == [PACK]
    assert lines.overlong == 1


def test_what_is_left_when_the_link_breaks_is_torn() -> None:
    lines = Lines()
    lines.feed(encode(PACK)[:20])
    lines.tear()
    assert lines.torn == 1
    assert [decode(line) for line in lines.feed(encode(PACK))] == [PACK]
    lines.tear()
    assert lines.torn == 1
