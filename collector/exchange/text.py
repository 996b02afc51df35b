"""A file's bytes as text, block by block, each ending with a line; memory stays small.

UTF-8, with or without a byte order mark. What is no text is an error that names the line.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from typing import BinaryIO

_BLOCK = 1 << 18
LONGEST_LINE = 1 << 20
"""Characters. Nothing that a keeper writes is longer; what is longer is no CSV."""


class NotTextError(ValueError):
    """The file is no text that can be a CSV: on which line, and why."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(why)
        self.line = line


def text_blocks(stream: BinaryIO, read: Callable[[int], None]) -> Iterator[str]:
    """Text of whole lines. `read` is told how many bytes came with each. Raises NotTextError."""
    decoder = codecs.getincrementaldecoder("utf-8-sig")("strict")
    rest, lines, block = "", 0, b"."
    while block:
        block = stream.read(_BLOCK)
        _refuse_binary(block, lines + 1, first=not lines and not rest)
        try:
            text = rest + decoder.decode(block, final=not block)
        except UnicodeDecodeError as fault:
            line = lines + 1 + rest.count("\n") + block.count(b"\n", 0, max(0, fault.start))
            raise NotTextError(line, "not UTF-8 text; save the file as CSV in UTF-8") from fault
        end = text.rfind("\n") + 1 if block else len(text)
        whole, rest = text[:end], text[end:]
        lines += whole.count("\n")
        if len(rest) > LONGEST_LINE:
            raise NotTextError(lines + 1, f"longer than {LONGEST_LINE:,} characters: not CSV")
        read(len(block))
        if whole:
            yield whole


def _refuse_binary(block: bytes, line: int, *, first: bool) -> None:
    if first and block.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise NotTextError(line, "UTF-16 text; save the file as CSV in UTF-8")
    at = block.find(b"\0")
    if at >= 0:
        raise NotTextError(
            line + block.count(b"\n", 0, at), "a NUL byte: this is no text file; export it as CSV"
        )
