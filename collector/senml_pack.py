"""The other direction: measurements as a SenML pack, for nodes and for the simulated rack."""

from __future__ import annotations

import json
from collections.abc import Iterable

from collector.measured import UNIT_OF, Measured, name_of

_ABSOLUTE_FROM_MS = 2**28 * 1000


def pack(measured: Iterable[Measured]) -> str:
    """These measurements as one SenML pack (RFC 8428, JSON), compact, in their order.

    Values go out in °C, %RH and V; a measurement without a time goes out without one. Raises
    ValueError when there is none, or for a time before 1978-07-05, which SenML cannot say
    absolutely.
    """
    records: list[dict[str, object]] = []
    name, time_s = "", 0.0
    for one in measured:
        record: dict[str, object] = {}
        if one.probe != name:
            name = record["bn"] = one.probe
        own_s = _time_s(one)
        if own_s != time_s:
            time_s = record["bt"] = own_s
        suffix = name_of(one.probe, one.quantity).removeprefix(one.probe)
        if suffix:
            record["n"] = suffix
        record["u"] = UNIT_OF[one.quantity]
        record["v"] = one.raw
        records.append(record)
    if not records:
        raise ValueError("a SenML pack holds one record at least")
    return json.dumps(records, separators=(",", ":"), allow_nan=False)


def _time_s(one: Measured) -> float:
    """Seconds for "bt": absolute, or relative to now."""
    if one.at_ms is not None and one.at_ms < _ABSOLUTE_FROM_MS:
        raise ValueError(f"{one.at_ms} ms is before 1978-07-05; SenML would read it as relative")
    time_ms = one.offset_ms if one.at_ms is None else one.at_ms
    whole, rest = divmod(time_ms, 1000)
    return whole if rest == 0 else time_ms / 1000.0
