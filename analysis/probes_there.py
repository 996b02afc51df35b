"""Which probes lay where an animal lived, and when. Pure but for what a probe measures."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.gathering import Facts
from analysis.tracks import Tracks
from collector.book.records import Stay
from collector.readings import Quantity, SeriesKey

Span = tuple[SeriesKey, int, int]
"""A series over [start_ms, end_ms)."""


def probes_there(
    stays: Iterable[Stay], facts: Facts, tracks: Tracks, start_ms: int, end_ms: int
) -> list[Span]:
    """Each probe's temperature and humidity while it lay where the animal was, by name and time.

    Room probes are among them.
    """
    found: set[Span] = set()
    for one in (*facts.placements, *facts.rooms):
        for stay in stays:
            since = max(one.since_ms, stay.since_ms, start_ms)
            ends = [t for t in (one.until_ms, stay.until_ms) if t is not None]
            until = min([end_ms, *ends])
            if one.enclosure == stay.enclosure and since < until:
                found.update(
                    (SeriesKey(one.probe, quantity), since, until)
                    for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
                    if tracks.measures(one.probe, quantity)
                )
    return sorted(found, key=lambda span: (span[0].probe, span[0].quantity, span[1]))
