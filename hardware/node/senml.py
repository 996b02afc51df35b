"""SenML packs (RFC 8428, JSON), written by hand: a board's own JSON writer rounds numbers.

A fault travels as a record with a text, `vs`, under the probe's name with `_fault` behind it
(RFC 8428 §4.3 and §5.1.4: text values): the collector names it in its log and counts it, and no
number is there to be mistaken for a reading.
"""

import json

from .words import FAULT_SUFFIX, SUFFIX, Fault, Reading, decimal


def record(reading: Reading, time_ms: int | None) -> str:
    """A reading as a record that stands alone: `time_ms` is UTC, or below zero relative to now.

    None: it has no time, and is dated when it arrives.
    """
    value = decimal(reading.value_e4, 4)
    name, unit = reading.probe + SUFFIX[reading.unit], reading.unit
    return f'{{"n":"{name}",{_time(time_ms)}"u":"{unit}","v":{value}}}'


def fault_record(fault: Fault, time_ms: int | None) -> str:
    """A fault as a record that stands alone."""
    text = json.dumps(fault.text)
    return f'{{"n":"{fault.probe}{FAULT_SUFFIX}",{_time(time_ms)}"vs":{text}}}'


def pack(records: list[str]) -> str:
    """Records as one pack."""
    return "[" + ",".join(records) + "]"


def _time(time_ms: int | None) -> str:
    return "" if time_ms is None else f'"t":{decimal(time_ms, 3)},'
