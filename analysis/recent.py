"""The last hours of an enclosure: its lines, and who digests what in it now."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.enclosure_words import Warmth
from analysis.exposure import Line
from analysis.gathering import Facts, Gathered, gathered_from
from analysis.review import Review, review
from analysis.summary import summary
from analysis.tracks import Tracks
from analysis.words import HOUR_MS
from analysis.zones import zone_line
from collector.book.records import Handling, Placement, Stay, Zone
from collector.readings import Quantity
from config.care import CareProfile
from config.settings import Settings

RECENT_HOURS = 12.0
_HALF_HOUR_MS = HOUR_MS // 2
_MINUTE_MS = 60_000.0


@dataclass(frozen=True, slots=True)
class Digesting:
    """One animal's meal whose window is still open."""

    gathered: Gathered
    review: Review


@dataclass(frozen=True, eq=False)
class Recent:
    """An enclosure over [start_ms, now_ms). A line is None: no probe was placed."""

    enclosure: str
    start_ms: int
    now_ms: int
    warm: Line | None
    cool: Line | None
    room: Line | None
    digesting: tuple[Digesting, ...]
    handlings: tuple[Handling, ...]

    @property
    def warmth(self) -> Warmth:
        """The warm side's last value, its age, and how it changed within the last hour.

        The change is between the means of two half hours, an hour apart, so that a thermostat's
        switching does not look like one; both have to be known whole.
        """
        if self.warm is None or not len(self.warm):
            return Warmth()
        last_ms = float(self.warm.end_ms[-1])
        now, before = (_half_hour_c(self.warm, last_ms - back_ms) for back_ms in (0, HOUR_MS))
        change_k = now - before if now is not None and before is not None else None
        return Warmth(float(self.warm.end_c[-1]), (self.now_ms - last_ms) / 1000, change_k)


def _half_hour_c(line: Line, end_ms: float) -> float | None:
    part = line.cut(end_ms - _HALF_HOUR_MS, end_ms)
    return summary(part).mean if part.known_ms >= _HALF_HOUR_MS * 0.999 else None


def recent_of(
    enclosure: str,
    facts: Facts,
    tracks: Tracks,
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    span_hours: float = RECENT_HOURS,
) -> Recent:
    """The last `span_hours` of an enclosure, from what the book says and the readings."""
    start_ms = now_ms - round(span_hours * HOUR_MS)

    def line(zone: Zone, placements: tuple[Placement, ...]) -> Line | None:
        return zone_line(
            zone,
            Quantity.TEMPERATURE,
            start_ms,
            now_ms,
            stays=[Stay("", enclosure, start_ms)],
            placements=placements,
            tracks=tracks,
            gap_ms=settings.review.gap_minutes * _MINUTE_MS,
        ).line

    there = animals_in(enclosure, facts, now_ms)
    return Recent(
        enclosure,
        start_ms,
        now_ms,
        warm=line(Zone.WARM_SIDE, facts.placements),
        cool=line(Zone.COOL_SIDE, facts.placements),
        room=line(Zone.ROOM, facts.rooms),
        digesting=tuple(
            Digesting(gathered, review(gathered, care, settings))
            for animal in there
            if (gathered := _open_meal(animal, facts, tracks, care, settings, now_ms)) is not None
        ),
        handlings=tuple(
            one
            for animal in there
            for one in facts.handlings.get(animal, [])
            if start_ms <= one.at_ms < now_ms
        ),
    )


def animals_in(enclosure: str, facts: Facts, at_ms: int) -> list[str]:
    """The animals whose stay in an enclosure covers a moment, by name."""
    return sorted(
        animal
        for animal, stays in facts.stays.items()
        for stay in stays
        if stay.enclosure == enclosure
        and stay.since_ms <= at_ms
        and (stay.until_ms is None or at_ms < stay.until_ms)
    )


def _open_meal(  # noqa: PLR0917  # the same parts in the same order as gather
    animal: str, facts: Facts, tracks: Tracks, care: CareProfile, settings: Settings, now_ms: int
) -> Gathered | None:
    """The animal's last meal, if its window is still open."""
    taken = [
        meal
        for meal in facts.meals.get(animal, [])
        if meal.taken_at_ms is not None and meal.taken_at_ms <= now_ms
    ]
    if not taken:
        return None
    found = gathered_from(
        taken[-1], facts, tracks, care=care, settings=settings, now_ms=now_ms, with_room=False
    )
    return found if found.window.ended_by == "now" else None
