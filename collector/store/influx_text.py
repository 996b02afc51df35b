"""Readings as InfluxDB takes and gives them: line protocol in, annotated CSV out.

    measurement   warmcoil
    tags          probe (percent-encoded, RFC 3986), quantity
    fields        raw: what the sensor said, always
                  flags: an integer, only for a reading that is doubted
                  gain, offset: the correction, each only where it is not 1 and 0
    time          whole milliseconds

What is left out is what nearly every reading has: a third less to keep and to read. Doubles are
written in Python's shortest form and read back from Go's shortest: both are exact. Line protocol:
https://docs.influxdata.com/influxdb/v1.8/write_protocols/line_protocol_reference/; annotated CSV:
https://docs.influxdata.com/influxdb/v2/reference/syntax/annotated-csv/ (both from memory).
"""

from __future__ import annotations

import csv
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from math import isfinite
from urllib.parse import quote, unquote

from collector.readings import AS_READ, Correction, SeriesKey
from collector.store.columns import Columns, in_order
from config.errors import StoreFault

MEASUREMENT = "warmcoil"
FIRST_MS, END_MS = -9_223_372_036_854, 9_223_372_036_854
"""Times are signed 64-bit nanoseconds there: from 1677 to 2262."""


def probe_tag(probe: str) -> str:
    """The probe's name where nothing has to be escaped, be it in lines, Flux or CSV."""
    return quote(probe, safe=":")


def probe_of(tag: str) -> str:
    """The probe's name again."""
    return unquote(tag)


def refuse_unfit(columns: Columns) -> None:
    """Raise ValueError for readings out of order, not finite, or of a time it cannot hold."""
    if not in_order(columns.at_ms):
        raise ValueError("readings are kept in time order, no time twice")
    if not all(map(isfinite, columns.raw)):
        raise ValueError("a reading has a finite value")
    if columns and not FIRST_MS < columns.at_ms[0] <= columns.at_ms[-1] < END_MS:
        raise ValueError("InfluxDB holds times from 1677 to 2262, and a reading is not of then")


def lines_of(key: SeriesKey, columns: Columns) -> Iterator[str]:
    """One line of line protocol for each reading."""
    head = f"{MEASUREMENT},probe={probe_tag(key.probe)},quantity={key.quantity.value} raw="
    rows = zip(columns.at_ms, columns.raw, columns.flags, columns.each_correction(), strict=True)
    for at_ms, raw, flags, by in rows:
        more = f",flags={flags}i" if flags else ""
        if by != AS_READ:
            more += f",gain={by.gain!r}" if by.gain != AS_READ.gain else ""
            more += f",offset={by.offset!r}" if by.offset != AS_READ.offset else ""
        yield f"{head}{raw!r}{more} {at_ms}"


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of one or more tables of an answer, every column as texts of one length."""

    columns: dict[str, Sequence[str]]

    def __getitem__(self, name: str) -> Sequence[str]:
        """A column. Raises StoreFault when the answer has none of that name."""
        try:
            return self.columns[name]
        except KeyError:
            raise StoreFault(f"InfluxDB answered without a column {name}") from None


def tables_of(answer: str) -> Iterator[Rows]:
    """The parts of an answer, each with one set of columns. Raises StoreFault.

    A fault that the server met while it was answering stands in the answer as a table.
    """
    part: list[str] = []
    lines = answer.split("\r\n")
    for line in lines[:-1]:  # each ends with a line break, and a table with an empty line
        if line.startswith("#"):
            continue
        if line:
            part.append(line)
        elif part:
            yield _rows(part)
            part = []
    if part or lines[-1]:
        raise StoreFault("InfluxDB broke off in the middle of its answer")


def _rows(part: list[str]) -> Rows:
    names = part[0].split(",")
    if '"' in part[0] or any('"' in line for line in part):
        lists = list(csv.reader(part))
        names, rows = lists[0], lists[1:]
        columns: list[Sequence[str]] = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    else:
        # All cells in one list: a slice of it with a step is a column.
        cells = ",".join(part[1:]).split(",") if len(part) > 1 else []
        if len(cells) != len(names) * (len(part) - 1):
            raise StoreFault("InfluxDB answered with rows of unlike lengths")
        columns = [cells[place :: len(names)] for place in range(len(names))]
    table = dict(zip(names, columns, strict=True))
    if "error" in table:
        raise StoreFault(f"InfluxDB could not finish its answer: {' '.join(table['error'])[:200]}")
    return Rows(table)


def times_ms(texts: Sequence[str]) -> list[int]:
    """RFC 3339 times as UTC ms, rounded. Raises StoreFault."""
    try:
        return [round(datetime.fromisoformat(text).timestamp() * 1000) for text in texts]
    except ValueError as fault:
        raise StoreFault(f"InfluxDB answered with no time: {fault}") from fault


def columns_of(answer: str) -> Columns:
    """The readings of one series: rows of `_time`, `_value` and `_field`. Raises StoreFault."""
    at_ms, raw = array("q"), array("d")
    beside: dict[str, dict[int, float]] = {"flags": {}, "gain": {}, "offset": {}}
    try:
        for rows in tables_of(answer):
            for field, start, end in _runs(rows["_field"]):
                times = times_ms(rows["_time"][start:end])
                values = rows["_value"][start:end]
                if field == "raw":
                    at_ms.extend(times)
                    raw.extend(map(float, values))
                elif field in beside:
                    beside[field].update(zip(times, map(float, values), strict=True))
        return _put_together(at_ms, raw, beside)
    except (ValueError, OverflowError) as fault:
        raise StoreFault(f"InfluxDB answered with no reading: {fault}") from fault


def _runs(fields: Sequence[str]) -> Iterator[tuple[str, int, int]]:
    """(field, first index, index behind the last): a table has one field, an answer a few."""
    start = 0
    for field, same in groupby(fields):
        end = start + sum(1 for _ in same)
        yield field, start, end
        start = end


def _put_together(
    at_ms: array[int], raw: array[float], beside: dict[str, dict[int, float]]
) -> Columns:
    flags, gains, offsets = beside["flags"], beside["gain"], beside["offset"]
    doubts = bytes(int(flags.get(one, 0)) for one in at_ms) if flags else None
    if not gains and not offsets:
        return Columns.ordered(at_ms, raw, doubts)
    by = (
        Correction(gains.get(one, AS_READ.gain), offsets.get(one, AS_READ.offset)) for one in at_ms
    )
    return Columns.ordered(at_ms, raw, doubts, by)
