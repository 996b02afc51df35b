"""Exporting: the same CSV files back. Importing them again changes nothing. And the hours.

Text stands as it was entered, also when a spreadsheet would take it for a formula (a leading
=, +, - or @): a file that goes back in must say what it said.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import tzinfo
from itertools import repeat
from typing import TextIO

from collector.book.book import Book
from collector.exchange.columns import TimeTexts
from collector.exchange.fields import written
from collector.exchange.kinds import KINDS, Values
from collector.exchange.readings_in import READINGS_COLUMNS
from collector.measured import UNIT_OF
from collector.readings import Quantity, SeriesKey
from collector.store.reader import Reader
from config.errors import Unusable
from config.settings import Settings

HOURS_COLUMNS = (
    "time", "probe", "quantity", "readings", "doubted", "min", "mean", "max", "unit",
)  # fmt: skip
ReadingRow = tuple[str, str, str, str, str]
_STEP_MS = 7 * 86_400_000
_WHEN = ("taken_at", "offered_at", "time")


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
        for rows in _readings(reader, settings.zone, from_ms, to_ms):
            writer.writerows(rows)
            count += len(rows)
        return count
    if kind == "hours":
        writer.writerow(HOURS_COLUMNS)
        for hours in _hours(reader, settings.zone, from_ms, to_ms):
            writer.writerows(hours)
            count += len(hours)
        return count
    if kind not in KINDS:
        raise Unusable(f"no kind {kind!r}; there are: readings, hours, {', '.join(KINDS)}")
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
    """True for a row of that time, for one that reaches into it, and for one without a time."""
    start_ms = next((row[name] for name in (*_WHEN, "since") if row.get(name) is not None), None)
    if start_ms is None:
        return True
    if to_ms is not None and start_ms >= to_ms:
        return False
    if from_ms is None or start_ms >= from_ms:
        return True
    return "ends_ms" in row and (row["ends_ms"] is None or row["ends_ms"] > from_ms)


def _readings(
    reader: Reader, zone: tzinfo, from_ms: int | None, to_ms: int | None
) -> Iterator[list[ReadingRow]]:
    """Series by series."""
    for key, start_ms, end_ms in _series(reader, from_ms, to_ms):
        yield from reading_rows(reader, key, start_ms, end_ms, zone)


def _hours(
    reader: Reader, zone: tzinfo, from_ms: int | None, to_ms: int | None
) -> Iterator[list[tuple[object, ...]]]:
    """Series by series, the hours that begin within; values corrected like those of readings."""
    texts = TimeTexts(zone)
    for key, start_ms, end_ms in _series(reader, from_ms, to_ms):
        for step in range(start_ms, end_ms, _STEP_MS):
            found = reader.hours(key, step, min(end_ms, step + _STEP_MS))
            times = texts.of([hour.start_ms for hour in found])
            yield [
                (
                    at, key.probe, key.quantity.value, hour.readings, hour.flagged,
                    hour.low, hour.mean, hour.high, UNIT_OF[key.quantity],
                )
                for at, hour in zip(times, found, strict=True)
            ]  # fmt: skip


def _series(
    reader: Reader, from_ms: int | None, to_ms: int | None
) -> Iterator[tuple[SeriesKey, int, int]]:
    """Each series but voltage, in order, and which part of [from_ms, to_ms) it has."""
    series = reader.series()
    for key in sorted(series, key=lambda k: (k.probe, k.quantity)):
        if key.quantity is not Quantity.VOLTAGE:
            first, last = series[key].first_ms, series[key].last_ms + 1
            start = first if from_ms is None else max(first, from_ms)
            yield key, start, last if to_ms is None else min(last, to_ms)


def reading_rows(
    reader: Reader, key: SeriesKey, start_ms: int, end_ms: int, zone: tzinfo
) -> Iterator[list[ReadingRow]]:
    """The rows of one series over [start_ms, end_ms), some days at a time."""
    texts = TimeTexts(zone)
    for step in range(start_ms, end_ms, _STEP_MS):
        columns = reader.columns(key, step, min(end_ms, step + _STEP_MS))
        yield list(
            zip(
                texts.of(columns.at_ms),
                repeat(key.probe, len(columns)),
                repeat(key.quantity.value, len(columns)),
                map(str, columns.values()),
                repeat(UNIT_OF[key.quantity], len(columns)),
                strict=True,
            )
        )
