"""From one archive into another: a series and a UTC day at a time, each day compared afterwards.

There is no note of how far it came: a day that is equal in both is passed over, so after a kill
it goes on where it was, and whatever it says is verified was compared in that very run. The old
archive is only read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from collector.readings import SeriesKey
from collector.store.archive import Archive, Span
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import Hour, merged
from config.errors import NotSo, StoreFault

_MOST_DAYS = 32
"""Looked over at once in search of the next reading."""


@dataclass(frozen=True, slots=True)
class Moved:
    """One series, equal in both archives. `written`: how many of its readings were new there."""

    key: SeriesKey
    days: int
    count: int
    written: int

    def sentence(self) -> str:
        """One line for the keeper."""
        return (
            f"{self.key.probe} {self.key.quantity}: {self.count} readings of {self.days} days "
            f"are in both, {self.written} of them new there"
        )


def move(old: Archive, new: Archive) -> Iterator[Moved]:
    """Copy every series, one after the other. Raises StoreFault when one of them fails.

    Raises NotSo when the new archive has other values for some readings: the first one stays.
    """
    for key, span in sorted(old.series().items(), key=lambda one: (one[0].probe, one[0].quantity)):
        yield _series(old, new, key, span)


@runtime_checkable
class KeepsHours(Protocol):
    """An archive in which days may be kept by the hour alone."""

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms), in order."""
        ...

    def write_hours(self, key: SeriesKey, hours: Sequence[Hour]) -> None:
        """Keep hours, in order, merged with those that are there."""
        ...


def move_hours(spans: Mapping[SeriesKey, Span], old: KeepsHours, new: KeepsHours) -> int:
    """Copy what is kept by the hour alone of the old archive's series; how many hours.

    Raises StoreFault when one is not there afterwards.
    """
    count = 0
    for key in sorted(spans, key=lambda key: (key.probe, key.quantity)):
        if spans[key].thinned:
            hours = old.hours(key, spans[key].first_ms, spans[key].last_ms + 1)
            new.write_hours(key, hours)
            there = new.hours(key, spans[key].first_ms, spans[key].last_ms + 1)
            if merged(there, hours) != there:
                raise StoreFault(f"{key.probe} {key.quantity}: not all hours are there; try again")
            count += len(hours)
    return count


def fingerprint(columns: Columns) -> tuple[int, str]:
    """Count and SHA-256 of all that readings are: time, raw value, flags, correction."""
    whole = hashlib.sha256(columns.at_ms.tobytes())
    whole.update(columns.raw.tobytes())
    whole.update(columns.flags)
    for start, end, by in columns.runs():
        whole.update(f"{start} {end} {by.gain!r} {by.offset!r};".encode())
    return len(columns), whole.hexdigest()


def _series(old: Archive, new: Archive, key: SeriesKey, span: Span) -> Moved:
    days = count = written = 0
    for part in _days(old, key, span):
        days += 1
        count += len(part)
        if not _holds(new, key, part):
            written += _written(new, key, part)
            if not _holds(new, key, part):
                raise _unlike(key, part, new)
    return Moved(key, days, count, written)


def _days(old: Archive, key: SeriesKey, span: Span) -> Iterator[Columns]:
    """The readings of each UTC day that has any. Years without one take a few steps."""
    at_ms, width_days = span.first_ms, 1
    while at_ms <= span.last_ms:
        start_ms = at_ms // DAY_MS * DAY_MS
        end_ms = start_ms + width_days * DAY_MS
        part = old.columns(key, start_ms, end_ms)
        if not part:
            at_ms, width_days = end_ms, min(2 * width_days, _MOST_DAYS)
        elif width_days == 1:
            yield part
            at_ms = end_ms
        else:
            at_ms, width_days = part.at_ms[0], 1


def _written(new: Archive, key: SeriesKey, part: Columns) -> int:
    try:
        return new.write({key: part}).new
    except ValueError as fault:
        raise StoreFault(
            f"{key.probe} {key.quantity}: {fault}; nothing of that day moved"
        ) from None


def _holds(new: Archive, key: SeriesKey, part: Columns) -> bool:
    """True when the new archive has these very readings, and it may have others beside them."""
    there = new.columns(key, part.at_ms[0], part.at_ms[-1] + 1)
    if len(there) > len(part):
        there = there.without(there.without(part))
    return fingerprint(there) == fingerprint(part)


def _unlike(key: SeriesKey, part: Columns, new: Archive) -> NotSo | StoreFault:
    there = new.columns(key, part.at_ms[0], part.at_ms[-1] + 1)
    lost = len(part.without(there))
    day = f"{key.probe} {key.quantity}, day {part.at_ms[0] // DAY_MS} since 1970"
    if lost:
        return StoreFault(f"{day}: {lost} readings were written and are not there; the old is kept")
    return NotSo(
        f"{day}: the new archive holds other values or flags for some of its {len(part)} readings; "
        "the first ones stay, and the old archive is kept"
    )
