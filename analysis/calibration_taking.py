"""Taking a point of a calibration: from the live readings of a home to a record for its book.

The same for the command line and the page. A record says what the probe itself read, so a
correction that holds already does not matter.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from analysis.calibrating import ICE_C, ICE_UNCERTAINTY_C, Point, Steadiness, point, steadiness
from analysis.calibration_words import ICE_NOTE
from collector.book.book import Book
from collector.book.records import Calibrated
from collector.book.rules import objections
from collector.readings import Flag, Quantity, SeriesKey
from collector.store.reader import Reader
from config.errors import BadEntry, NotSo, Unusable

_BACK_MS: Final = 600_000
PAIR_WITHIN_MS: Final = 86_400_000
"""A second point joins a first one that is no older than this."""
MOST_UNSURE_C: Final = 2.0
"""A reference that is less sure than this is none."""
_HUMIDITY_ELSEWHERE: Final = (
    "a calibration in the book is of °C; humidity is corrected in warmcoil.toml, by "
    "humidity_offset_pct or humidity_two_point_pct"
)


def must_be_heard(reader: Reader, probe: str) -> None:
    """Refuse a probe that was never heard (NotSo), or that says no temperature (Unusable)."""
    spoken = {(key.probe, key.quantity) for key in reader.series()}
    if (probe, Quantity.TEMPERATURE) in spoken:
        return
    if any(name == probe for name, _ in spoken):
        raise Unusable(f"probe {probe!r} says no temperature: {_HUMIDITY_ELSEWHERE}")
    known = ", ".join(sorted({name for name, _ in spoken})) or "none yet"
    raise NotSo(f"no probe {probe!r} was heard; there are: {known}")


def about_humidity(reader: Reader, probe: str) -> str | None:
    """What to mind of a probe that says humidity too; None for any other."""
    if SeriesKey(probe, Quantity.HUMIDITY) not in reader.series():
        return None
    return (
        "This one measures humidity: it must never get wet, so put it into two bags. Only its "
        f"temperature is calibrated here: {_HUMIDITY_ELSEWHERE}."
    )


def steady_now(reader: Reader, probe: str, now_ms: int) -> Steadiness | None:
    """How steady it is now. A jump into the bath is no fault; anything else is."""
    columns = reader.columns(SeriesKey(probe, Quantity.TEMPERATURE), now_ms - _BACK_MS, now_ms + 1)
    rows = zip(columns.at_ms, columns.raw, columns.flags, strict=True)
    good = [(at_ms, raw) for at_ms, raw, flags in rows if not Flag(flags) & ~Flag.JUMP]
    return steadiness(good, now_ms)


def one_point(probe: str, found: Point, now_ms: int, note: str | None) -> Calibrated:
    """A record of one point."""
    at_ms = now_ms // 1000 * 1000
    return Calibrated(probe, at_ms, found.read_c, found.true_c, found.uncertainty_c, notes=note)


def ice_point(probe: str, steady: Steadiness, now_ms: int, note: str | None = None) -> Calibrated:
    """A record of an ice point."""
    found = point(steady, ICE_C, ICE_UNCERTAINTY_C)
    return one_point(probe, found, now_ms, note or ICE_NOTE)


def with_second(first: Calibrated, found: Point, now_ms: int, note: str | None) -> Calibrated:
    """The record of a first point and a second one."""
    return replace(
        first,
        at_ms=max(now_ms // 1000 * 1000, first.at_ms + 1000),
        second_read_c=found.read_c,
        second_true_c=found.true_c,
        second_uncertainty_c=found.uncertainty_c,
        notes=note or first.notes,
    )


def second_point(
    first: Calibrated,
    steady: Steadiness,
    true_c: float,
    sure_c: float,
    *,
    now_ms: int,
    note: str | None = None,
) -> Calibrated:
    """The record with a second point by figures that somebody typed.

    Raises BadEntry, by the field `true_c` or `sure_c`, for figures that cannot be.
    """
    if not 0 < sure_c <= MOST_UNSURE_C:
        raise _wrong(
            "sure_c", f"±{sure_c:g} °C cannot be: more than 0, and at most {MOST_UNSURE_C:g}"
        )
    if not math.isfinite(true_c):
        raise _wrong("true_c", f"{true_c:g} °C is no temperature")
    record = with_second(first, point(steady, true_c, sure_c), now_ms, note)
    for one in objections(record, now_ms):
        subject = "the second point " if one.why.startswith("is ") else ""
        raise _wrong("true_c", subject + one.why)
    return record


def _wrong(field: str, why: str) -> BadEntry:
    return BadEntry(why, field=field, why=why)


def first_point(book: Book, probe: str, now_ms: int) -> Calibrated | None:
    """The point that a second one would join: the probe's last, alone, and of the last day."""
    last = book.calibrations(probe)[-1:]
    if last and last[0].second_read_c is None and now_ms - last[0].at_ms <= PAIR_WITHIN_MS:
        return last[0]
    return None
