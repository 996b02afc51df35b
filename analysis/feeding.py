"""The next meal of every animal of a home, from its book and its readings."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analysis.as_of import meals_as_of, records_as_of
from analysis.condition import Condition, conditions_of_book
from analysis.fit_today import NO_PLACE, Fit, fit_today
from analysis.gathering import Facts, gathered_from
from analysis.in_shed import in_shed
from analysis.next_meal import NextMeal, next_meal
from analysis.review import swing_of
from analysis.through import Digesting, inside, pct_of
from analysis.tracks import Tracks
from analysis.window import HOUR_MS
from analysis.zones import zone_line
from collector.book.records import Meal, Shed, Stay, Zone
from collector.readings import Quantity, Reading, SeriesKey
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader


@dataclass(frozen=True)
class _Home:
    """What the book and the store say as of a moment."""

    facts: Facts
    sheds: Sequence[Shed]
    offers: Sequence[Meal]
    tracks: Tracks
    heard: Mapping[SeriesKey, Reading]
    care: CareProfile
    settings: Settings
    now_ms: int


def next_meals_of_book(
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    animal: str | None = None,
) -> list[NextMeal]:
    """The next meal of every animal, or of one; the one that may be fed first comes first.

    As of `now_ms`: what the book says of later is not known yet.
    """
    meals = meals_as_of(book.meals(), now_ms)
    home = _Home(
        facts=Facts.of_records(
            animals=book.animals(),
            stays=book.stays(),
            meals=meals,
            weighings=records_as_of(book.weighings(), now_ms),
            handlings=book.handlings(),
            placements=book.placements(),
            enclosures=book.enclosures(),
        ),
        sheds=book.sheds(),
        offers=meals,
        tracks=Tracks(reader),
        heard=reader.latest(),
        care=care,
        settings=settings,
        now_ms=now_ms,
    )
    conditions = conditions_of_book(book, care, settings, now_ms, animal, reader=reader)
    found = [_next_meal(condition, home) for condition in conditions]
    return sorted(found, key=lambda one: (bool(one.open_ended), one.not_before, one.animal))


def _next_meal(condition: Condition, home: _Home) -> NextMeal:
    name, facts = condition.animal, home.facts
    stay = _stay(facts.stays.get(name, []), home.now_ms)
    return next_meal(
        condition,
        [one for one in home.offers if one.animal == name],
        facts.weighings.get(name, []),
        fit=_fit(stay, home),
        care=home.care,
        settings=home.settings,
        digesting=_digesting(name, home),
        enclosure=stay.enclosure if stay is not None else None,
        shed=in_shed((one for one in home.sheds if one.animal == name), home.care, home.now_ms),
        shares_with=_mates(stay, home),
    )


def _mates(stay: Stay | None, home: _Home) -> list[str]:
    """The other animals in the same enclosure."""
    if stay is None:
        return []
    there = ((name, _stay(stays, home.now_ms)) for name, stays in sorted(home.facts.stays.items()))
    return [
        name
        for name, other in there
        if other is not None and other.enclosure == stay.enclosure and name != stay.animal
    ]


# ---- what may be inside ---------------------------------------------------------------------


def _digesting(name: str, home: _Home) -> list[Digesting]:
    """The meals that may be inside, with both sides' lines along the animal's stays up to now."""
    weighings = home.facts.weighings.get(name, [])
    days = inside(home.facts.meals.get(name, []), home.now_ms, home.settings.zone)
    return [_with_lines(of_day[-1], pct_of(of_day, weighings), home) for of_day in days]


def _with_lines(meal: Meal, pct: float | None, home: _Home) -> Digesting:
    gathered = gathered_from(
        meal,
        home.facts,
        home.tracks,
        care=home.care,
        settings=home.settings,
        now_ms=home.now_ms,
        until_ms=home.now_ms,
        with_room=False,
    )
    factor = swing_of(gathered.of_window(), home.care)
    return Digesting(gathered.window.start_ms, pct, gathered.cool, gathered.warm, factor)


# ---- today ----------------------------------------------------------------------------------


def _fit(stay: Stay | None, home: _Home) -> Fit:
    """The enclosure the animal is in, over the profile's last steady hours, whoever was in it."""
    if stay is None:
        return NO_PLACE
    since_ms = home.now_ms - round(home.care.next_meal.steady_hours.value * HOUR_MS)
    warm = zone_line(
        Zone.WARM_SIDE,
        Quantity.TEMPERATURE,
        since_ms,
        home.now_ms,
        stays=[replace(stay, since_ms=since_ms, until_ms=None)],
        placements=[one for one in home.facts.placements if _lies_now(one.until_ms, home.now_ms)],
        tracks=home.tracks,
        gap_ms=home.settings.review.gap_minutes * 60_000.0,
        apart_c=home.settings.review.probes_disagree_c,
    )
    heard_ms = _last_heard_ms(warm.probes, home)
    if warm.line is not None and len(warm.line):
        heard_ms = max(heard_ms or 0, int(warm.line.end_ms[-1]))
    apart = max((one.longest_hours for one in warm.disagreements), default=0.0)
    return fit_today(
        warm.line, heard_ms, home.care, home.settings, home.now_ms, probes_apart_hours=apart
    )


def _lies_now(until_ms: int | None, now_ms: int) -> bool:
    return until_ms is None or now_ms < until_ms


def _last_heard_ms(probes: Collection[str], home: _Home) -> int | None:
    """When one of the probes last gave a usable reading."""
    readings = (home.heard.get(SeriesKey(probe, Quantity.TEMPERATURE)) for probe in probes)
    return max(
        (
            one.at_ms
            for one in readings
            if one is not None and one.usable and one.at_ms <= home.now_ms
        ),
        default=None,
    )


def _stay(stays: Collection[Stay], now_ms: int) -> Stay | None:
    for stay in stays:
        if stay.since_ms <= now_ms and (stay.until_ms is None or now_ms < stay.until_ms):
            return stay
    return None
