"""Lines on a serial link: a SenML pack, `*`, four hex digits of a checksum, LF. No I/O here.

A serial line has no checks of its own, and a node is unplugged in mid-line. So each line carries
CRC-16/IBM-3740 over all before the `*`, and what does not add up is dropped, never guessed.
"""

from __future__ import annotations

import binascii

from config.errors import BadPayload

LONGEST_LINE = 1024
"""Bytes, with the LF."""
_TAIL = 5  # the star and four hex digits


class BadLine(BadPayload):
    """A line that is dropped. `reason` is one of few words, to be counted by."""

    def __init__(self, reason: str, text: str) -> None:
        self.reason = reason
        super().__init__(text)


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740: polynomial 1021h, start FFFFh, not reflected; of "123456789" 29B1h.

    The standard library's crc_hqx is the same sum with another start, and runs in C: 10 MB of
    noise must not keep a small board busy.
    """
    return binascii.crc_hqx(data, 0xFFFF)


def encode(pack_json: str) -> bytes:
    """One pack as a line, with its LF. Raises BadPayload if it has a line break or is too long."""
    body = pack_json.encode("utf-8")
    line = b"%s*%04X\n" % (body, crc16(body))
    if b"\n" in body or b"\r" in body:
        raise BadPayload("a pack on a serial line must not hold a line break")
    if len(line) > LONGEST_LINE:
        raise BadPayload(f"the line has {len(line)} bytes; {LONGEST_LINE} are allowed")
    return line


def decode(line: bytes) -> str:
    """The pack of one line, with or without its LF. Raises BadLine."""
    line = line.removesuffix(b"\n")
    if len(line) >= LONGEST_LINE:
        raise BadLine("overlong line", f"longer than {LONGEST_LINE} bytes")
    body, tail = line[:-_TAIL], line[-_TAIL:]
    if len(tail) < _TAIL or tail[:1] != b"*" or not _is_hex(tail[1:]):
        raise BadLine("no checksum", f"{len(line)} bytes that do not end in * and four hex digits")
    said, computed = int(tail[1:], 16), crc16(body)
    if said != computed:
        raise BadLine("wrong checksum", f"checksum {said:04X}, computed {computed:04X}")
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise BadLine("not UTF-8", f"not UTF-8 text at byte {fault.start + 1}") from fault


def _is_hex(digits: bytes) -> bool:
    return all(digit in b"0123456789abcdefABCDEF" for digit in digits)


class Lines:
    """Cuts a stream of bytes into lines, and never keeps more than one longest line of it.

    `overlong` and `torn` count what was dropped: lines past the bound (to their end), and what
    was left of a line when the link broke.
    """

    def __init__(self) -> None:
        self._kept = bytearray()
        self._skipping = False
        self.overlong = 0
        self.torn = 0

    @property
    def buffered(self) -> int:
        """Bytes of an unfinished line that are being kept; never more than LONGEST_LINE."""
        return len(self._kept)

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without their LF."""
        *ends, rest = data.split(b"\n")
        found = []
        for end in ends:
            self._keep(end)
            if not self._skipping:
                found.append(bytes(self._kept))
            self._kept.clear()
            self._skipping = False
        self._keep(rest)
        return found

    def tear(self) -> None:
        """The link broke: what is left of a line will never be whole."""
        if self._kept:
            self.torn += 1
        self._kept.clear()
        self._skipping = False

    def _keep(self, part: bytes) -> None:
        if self._skipping:
            return
        if len(self._kept) + len(part) >= LONGEST_LINE:  # the LF is a byte of the line too
            self._kept.clear()
            self._skipping = True
            self.overlong += 1
        else:
            self._kept += part
