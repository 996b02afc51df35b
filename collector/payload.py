"""Messages of sensors that do not speak SenML: a bare number, or JSON with a pointer to it.

Which it is, and in which unit, stands in the settings ([[mqtt.source]]). No I/O here.
"""

from __future__ import annotations

import math
import re

from jsonpointer import EndOfList, JsonPointer, JsonPointerException

from collector.measured import Decoded, Ignored, Measured, in_our_unit
from collector.strict_json import is_number, parse, shown, text_of
from config.errors import BadPayload
from config.sources import MqttSource

WHOLE = "payload"
"""In the settings: the whole message is the number."""
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_LONGEST_NUMBER = 64


def decode(payload: bytes, source: MqttSource) -> Decoded:
    """The measurements in one message of `source`; they have no time of their own.

    A quantity that is not there, or null, is left out. Raises BadPayload, one line, when nothing
    of what the settings name can be read.
    """
    text = text_of(payload)
    wanted = _wanted(source)
    document = None if all(where == WHOLE for where, _ in wanted) else parse(text)
    decoded, faults = Decoded(), []
    for where, unit in wanted:
        try:
            value = _bare_number(text) if where == WHOLE else _number_at(document, where)
        except BadPayload as fault:
            faults.append(str(fault))
            continue
        found = None if value is None else in_our_unit(value, unit)
        if found is None:
            decoded.ignored.append(Ignored("null", f"{where} is null"))
        else:
            decoded.measured.append(Measured(source.probe, *found))
    if faults and not decoded.measured:
        raise BadPayload("; ".join(faults))
    decoded.ignored.extend(Ignored("unreadable", fault) for fault in faults)
    return decoded


def value_at(document: object, pointer: str) -> object:
    """What `pointer` (RFC 6901) points at in `document`. Raises BadPayload, one line.

    The "-" of an array (RFC 6901 §4: the element after the last) is always an error: it never
    exists.
    """
    try:
        value = JsonPointer(pointer).resolve(document)
    except JsonPointerException as fault:
        # The library's own text may hold the whole document.
        raise BadPayload(f"JSON Pointer {shown(pointer)}: nothing is there") from fault
    if isinstance(value, EndOfList):
        raise BadPayload(f'JSON Pointer {shown(pointer)}: "-" is after the end of the array')
    return value


def _wanted(source: MqttSource) -> list[tuple[str, str]]:
    """Pairs of where a number stands and its unit."""
    places = (
        (source.temperature, source.temperature_unit),
        (source.humidity, "%RH"),
        (source.voltage, "V"),
    )
    return [(where, unit) for where, unit in places if where is not None]


def _number_at(document: object, pointer: str) -> float | None:
    """The number at `pointer`; None where it is null, which many sensors send for "unknown".

    A text that holds nothing but a number counts: many sensors send their numbers so.
    """
    value = value_at(document, pointer)
    if value is None:
        return None
    if isinstance(value, str):
        return _bare_number(value)
    if isinstance(value, int | float) and is_number(value):
        return float(value)
    raise BadPayload(f"JSON Pointer {shown(pointer)}: {shown(value)} is not a number")


def _bare_number(text: str) -> float:
    digits = text.strip()
    if len(digits) > _LONGEST_NUMBER or _NUMBER.fullmatch(digits) is None:
        raise BadPayload(f"{shown(text)} is not a number")
    value = float(digits)
    if not math.isfinite(value):
        raise BadPayload(f"{shown(text)} is too large")
    return value
