"""The next meal of every animal of a home, from its book and its readings."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.condition import conditions_of_book
from analysis.fit_today import Fit, fit_today
from analysis.gathering import Facts, gathered_from
from analysis.next_meal import NextMeal, next_meal
from analysis.review import review
from analysis.tracks import Tracks
from analysis.waits import Digesting, taken_by
from analysis.window import DAY_MS, HOUR_MS
from analysis.zones import zone_line
from collector.book.records import Stay, Zone
from collector.readings import Quantity, Reading, SeriesKey
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

LONGEST_DAYS = 60
"""Longer than any meal lies inside an animal that lives (our own choice)."""


def next_meals_of_book(
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    animal: str | None = None,
    in_shed: Collection[str] = (),
) -> list[NextMeal]:
    """The next meal of every animal, or of one; the one that may be fed first comes first.

    `in_shed` names animals that are in shed: the book does not know when a shed begins.
    """
    facts, tracks, heard = Facts.of(book), Tracks(reader), reader.latest()
    found = []
    for condition in conditions_of_book(book, care, settings, now_ms, animal):
        name = condition.animal
        stay = _stay(facts.stays.get(name, []), now_ms)
        fit = _fit(stay, facts, tracks, heard, care=care, settings=settings, now_ms=now_ms)
        found.append(
            next_meal(
                condition,
                facts.meals.get(name, []),
                facts.weighings.get(name, []),
                fit=fit,
                care=care,
                settings=settings,
                digesting=_digesting(
                    name, facts, tracks, care=care, settings=settings, now_ms=now_ms
                ),
                enclosure=stay.enclosure if stay is not None else None,
                in_shed=name in in_shed,
            )
        )
    return sorted(found, key=lambda one: (bool(one.open_ended), one.not_before, one.animal))


def _digesting(
    name: str,
    facts: Facts,
    tracks: Tracks,
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> Digesting | None:
    """The last meal with its cool side's line up to now."""
    taken = taken_by(facts.meals.get(name, []), now_ms)
    if not taken:
        return None
    at_ms, meal = taken[-1]
    gathered = gathered_from(
        meal,
        facts,
        tracks,
        care=care,
        settings=settings,
        now_ms=now_ms,
        until_ms=min(now_ms, at_ms + LONGEST_DAYS * DAY_MS),
        with_room=False,
    )
    factor = review(gathered, care, settings).digestion.swing_factor
    return Digesting(gathered.meal_pct, gathered.cool, factor)


def _fit(
    stay: Stay | None,
    facts: Facts,
    tracks: Tracks,
    heard: Mapping[SeriesKey, Reading],
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> Fit:
    """The enclosure the animal is in, over the profile's last steady hours, whoever was in it."""
    if stay is None:
        return Fit(None, ("the book does not say where it is",), 0.0, 0.0, 0.0)
    since_ms = now_ms - round(care.next_meal.steady_hours.value * HOUR_MS)
    warm = zone_line(
        Zone.WARM_SIDE,
        Quantity.TEMPERATURE,
        since_ms,
        now_ms,
        stays=[replace(stay, since_ms=since_ms, until_ms=None)],
        placements=facts.placements,
        tracks=tracks,
        gap_ms=settings.review.gap_minutes * 60_000.0,
    )
    return fit_today(warm.line, _last_heard_ms(warm.probes, heard, now_ms), care, settings, now_ms)


def _last_heard_ms(
    probes: Collection[str], heard: Mapping[SeriesKey, Reading], now_ms: int
) -> int | None:
    """When one of the probes last gave a usable reading."""
    readings = (heard.get(SeriesKey(probe, Quantity.TEMPERATURE)) for probe in probes)
    return max(
        (one.at_ms for one in readings if one is not None and one.usable and one.at_ms <= now_ms),
        default=None,
    )


def _stay(stays: Collection[Stay], now_ms: int) -> Stay | None:
    for stay in stays:
        if stay.since_ms <= now_ms and (stay.until_ms is None or now_ms < stay.until_ms):
            return stay
    return None
