"""Hours as InfluxDB takes and gives them; `influx_text` has what is the same for readings.

measurement   warmcoil_hours
tags          probe (percent-encoded), quantity
fields        readings, flagged, known_ms: integers, always
              low, mean, high: only where the hour has a usable reading
time          the hour's beginning
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from collector.readings import SeriesKey
from collector.store.hours import HOUR_MS, Hour
from collector.store.influx_text import probe_tag, tables_of, times_ms
from config.errors import StoreFault

MEASUREMENT = "warmcoil_hours"


def hour_lines(key: SeriesKey, hours: Iterable[Hour]) -> Iterator[str]:
    """One line of line protocol for each hour."""
    head = f"{MEASUREMENT},probe={probe_tag(key.probe)},quantity={key.quantity.value} "
    for one in hours:
        fields = [
            f"readings={one.readings}i", f"flagged={one.flagged}i", f"known_ms={one.known_ms}i",
        ]  # fmt: skip
        values = {"low": one.low, "mean": one.mean, "high": one.high}
        fields += [f"{name}={value!r}" for name, value in values.items() if value is not None]
        yield f"{head}{','.join(fields)} {one.start_ms}"


def hours_in(answer: str) -> list[Hour]:
    """The hours of one series: rows of `_time`, `_value` and `_field`. Raises StoreFault."""
    found: dict[int, dict[str, str]] = defaultdict(dict)
    for rows in tables_of(answer):
        times = times_ms(rows["_time"])
        for at_ms, field, value in zip(times, rows["_field"], rows["_value"], strict=True):
            found[at_ms // HOUR_MS][field] = value
    try:
        return [_hour(number, found[number]) for number in sorted(found)]
    except (ValueError, KeyError) as fault:
        raise StoreFault(f"InfluxDB answered with no hour: {fault}") from fault


def _hour(number: int, fields: dict[str, str]) -> Hour:
    low, mean, high = (
        float(fields[name]) if name in fields else None for name in ("low", "mean", "high")
    )
    readings, flagged, known_ms = (
        int(fields[name]) for name in ("readings", "flagged", "known_ms")
    )
    return Hour(number, readings, flagged, known_ms, low, mean, high)
