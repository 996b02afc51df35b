"""What the screen of one enclosure shows: its lines over a span, and the figures of that span."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from analysis.exposure import Line
from analysis.figures.climate import Climate
from analysis.figures.ribbon import Event
from analysis.gathering import Facts
from analysis.page.looking import Looking
from analysis.page.zone_series import zone_series
from analysis.recent import animals_in
from analysis.tracks import Tracks
from analysis.words import DAY_MS, HOUR_MS
from collector.book.records import Placement, Zone
from collector.readings import Quantity

_MINUTE_MS = 60_000.0
_EVENTS_UP_TO_MS = 32 * DAY_MS
"""Over a longer span the words of meals and handlings would lie on each other."""


@dataclass(frozen=True, slots=True)
class Span:
    """A choice of how far back is looked."""

    name: str
    words: str
    length_ms: int


SPANS = (
    Span("hours", "12 hours", 12 * HOUR_MS),
    Span("day", "2 days", 2 * DAY_MS),
    Span("week", "1 week", 7 * DAY_MS),
    Span("month", "1 month", 31 * DAY_MS),
    Span("year", "1 year", 366 * DAY_MS),
)
USUAL = SPANS[1]


def enclosure_climate(
    enclosure: str, home: Looking, start_ms: int, end_ms: int, columns: int
) -> tuple[Climate, Line | None]:
    """The temperatures over [start_ms, end_ms) for a picture `columns` wide, and the humidity."""
    facts, tracks = Facts.of(home.book), Tracks(home.reader)

    def line(
        zones: Zone | Collection[Zone], quantity: Quantity, placements: Collection[Placement]
    ) -> Line | None:
        return zone_series(
            enclosure, zones, quantity, start_ms, end_ms,
            placements=placements, tracks=tracks, columns=columns,
            gap_ms=home.settings.review.gap_minutes * _MINUTE_MS,
        )  # fmt: skip

    floor_c, *lower_c = home.care.levels_c("below")
    temperature, inside = Quantity.TEMPERATURE, set(Zone) - {Zone.ROOM}
    climate = Climate(
        start_ms,
        end_ms,
        line(Zone.WARM_SIDE, temperature, facts.placements),
        line(Zone.COOL_SIDE, temperature, facts.placements),
        line(Zone.ROOM, temperature, facts.rooms),
        floor_c=floor_c,
        hot_c=home.care.levels_c("above")[0],
        lower_limits_c=tuple(lower_c),
        events=_events(enclosure, facts, start_ms, end_ms),
    )
    return climate, line(inside, Quantity.HUMIDITY, facts.placements)


def _events(enclosure: str, facts: Facts, start_ms: int, end_ms: int) -> tuple[Event, ...]:
    """Meals and handlings of the animals that lived there, each at its time."""
    if end_ms - start_ms > _EVENTS_UP_TO_MS:
        return ()
    times = [
        (one.taken_at_ms, "meal", animal)
        for animal, meals in facts.meals.items()
        for one in meals
        if one.taken_at_ms is not None
    ]
    times += [
        (one.at_ms, "handled", animal)
        for animal, handlings in facts.handlings.items()
        for one in handlings
    ]
    return tuple(
        Event(at_ms, word)
        for at_ms, word, animal in sorted(times)
        if start_ms <= at_ms < end_ms and animal in animals_in(enclosure, facts, at_ms)
    )
