"""Packs as lines of a serial link: `*`, four hex digits of CRC-16/IBM-3740, LF; 1,024 bytes."""

from .crc import crc16
from .senml import pack

LONGEST_LINE = 1024
_TAIL = 6  # star, four digits, LF


def line(pack_json: str) -> bytes:
    """One pack as a line."""
    body = pack_json.encode()
    return body + b"*%04X\n" % crc16(body)


def lines(records: list[str]) -> list[bytes]:
    """Records as few lines, none over the longest. A single record always fits: see `settings`."""
    found: list[bytes] = []
    few: list[str] = []
    size = 2 + _TAIL
    for one in records:
        length = len(one.encode()) + 1
        if few and size + length > LONGEST_LINE:
            found.append(line(pack(few)))
            few, size = [], 2 + _TAIL
        few.append(one)
        size += length
    if few:
        found.append(line(pack(few)))
    return found
