"""JSON as RFC 8259 has it, and nothing looser: the door every JSON payload comes through.

Python's own reader lets through what no sensor should send (NaN, Infinity, a key twice, numbers
no float can hold); here each of these is a BadPayload with one line.
"""

from __future__ import annotations

import json
import math

from config.errors import BadPayload

_LONGEST_NUMBER = 64
_LONGEST_SHOWN = 40


def parse(text: str) -> object:
    """The document in `text`. Raises BadPayload, one line, when it is not strict JSON."""
    try:
        return _READER.decode(text)
    except json.JSONDecodeError as fault:
        raise BadPayload(f"not JSON: {fault.msg} at character {fault.pos + 1}") from fault
    except RecursionError as fault:
        raise BadPayload("not usable JSON: nested too deeply") from fault


def text_of(payload: bytes) -> str:
    """`payload` as UTF-8 text. Raises BadPayload with the first byte that is not."""
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise BadPayload(f"not UTF-8 text at byte {fault.start + 1}") from fault


def shown(thing: object) -> str:
    """`thing` as it may stand in a message: one line, short, plain ASCII."""
    text = json.dumps(thing) if isinstance(thing, str | bool | None) else ascii(thing)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."


def is_number(thing: object) -> bool:
    """True for a JSON number. JSON's true and false are none, though Python thinks so."""
    return isinstance(thing, int | float) and not isinstance(thing, bool)


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """An object of these pairs; a key that comes twice has no agreed meaning (RFC 8259 §4)."""
    found: dict[str, object] = {}
    for key, value in pairs:
        if key in found:
            raise BadPayload(f"not usable JSON: the key {shown(key)} comes twice")
        found[key] = value
    return found


def _no_constant(name: str) -> object:
    raise BadPayload(f"not JSON: {name} is not a number")


def _float(digits: str) -> float:
    value = float(digits) if len(digits) <= _LONGEST_NUMBER else math.inf
    if not math.isfinite(value):
        raise BadPayload(f"not usable JSON: the number {shown(digits)} is too large or too long")
    return value


def _int(digits: str) -> int:
    _float(digits)
    return int(digits)


# Made once: a collector reads a hundred small documents a second.
_READER = json.JSONDecoder(
    object_pairs_hook=_once, parse_constant=_no_constant, parse_float=_float, parse_int=_int
)
