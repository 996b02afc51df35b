"""Exporting: the same CSV files back. Importing them again changes nothing.

Text stands as it was entered, also when a spreadsheet would take it for a formula (a leading
=, +, - or @): a file that goes back in must say what it said.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import tzinfo
from typing import TextIO

from collector import rfc3339
from collector.book.book import Book
from collector.exchange.fields import written
from collector.exchange.kinds import KINDS, Values
from collector.exchange.readings_in import READINGS_COLUMNS
from collector.measured import UNIT_OF
from collector.readings import Quantity, SeriesKey
from collector.store.reader import Reader
from config.errors import Unusable
from config.settings import Settings

_STEP_MS = 7 * 86_400_000
_WHEN = ("taken_at", "offered_at", "time", "since")


def export_rows(
    kind: str,
    out: TextIO,
    *,
    book: Book,
    reader: Reader,
    settings: Settings,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> int:
    """Write the rows of one kind with times in [from_ms, to_ms) as CSV; return how many.

    Times are in the home's zone. Readings are corrected values in °C and %RH, voltage is left out.
    """
    writer = csv.writer(out)
    count = 0
    if kind == "readings":
        writer.writerow(READINGS_COLUMNS)
        for reading_row in _reading_rows(reader, settings.zone, from_ms, to_ms):
            writer.writerow(reading_row)
            count += 1
        return count
    if kind not in KINDS:
        raise Unusable(f"no kind {kind!r}; there are: readings, {', '.join(KINDS)}")
    way = KINDS[kind]
    writer.writerow(way.columns)
    for row in way.rows(book):
        if _within(row, from_ms, to_ms):
            writer.writerow(
                written(row[name], settings.zone, is_time=name in way.times) for name in way.columns
            )
            count += 1
    return count


def _within(row: Values, from_ms: int | None, to_ms: int | None) -> bool:
    at_ms = next((row[name] for name in _WHEN if row.get(name) is not None), None)
    if at_ms is None:
        return True
    return (from_ms is None or at_ms >= from_ms) and (to_ms is None or at_ms < to_ms)


def _reading_rows(
    reader: Reader, zone: tzinfo, from_ms: int | None, to_ms: int | None
) -> Iterator[tuple[str, str, str, str, str]]:
    series = reader.series()
    for key in sorted(series, key=lambda k: (k.probe, k.quantity)):
        if key.quantity is Quantity.VOLTAGE:
            continue
        first, last = series[key].first_ms, series[key].last_ms + 1
        start = first if from_ms is None else max(first, from_ms)
        end = last if to_ms is None else min(last, to_ms)
        yield from _series_rows(reader, key, start, end, zone)


def _series_rows(
    reader: Reader, key: SeriesKey, start_ms: int, end_ms: int, zone: tzinfo
) -> Iterator[tuple[str, str, str, str, str]]:
    unit = UNIT_OF[key.quantity]
    while start_ms < end_ms:
        step_end = min(end_ms, start_ms + _STEP_MS)
        columns = reader.columns(key, start_ms, step_end)
        for at_ms, value in zip(columns.at_ms, columns.values(), strict=True):
            yield rfc3339.written(at_ms, zone), key.probe, key.quantity.value, str(value), unit
        start_ms = step_end
