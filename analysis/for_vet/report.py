"""What the paper for the vet rests on: one animal over a period, gathered from book and readings.

The meals are those offered or taken in the period, judged as everywhere, by what is known at
`now_ms`; condition and the signs for a vet are those of the period's end. What was written down of
a time after `now_ms` is not known yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from analysis.ages import months_old
from analysis.as_of import meals_as_of
from analysis.condition import Condition, conditions_of_book
from analysis.different import told_one_by_one
from analysis.different_words import paragraphs
from analysis.figures.meal_shape import meal_ribbon
from analysis.figures.ribbon import RibbonShape
from analysis.for_vet.days import ZoneDays, zones_by_day
from analysis.gathering import Facts
from analysis.probes_there import probes_there
from analysis.review import Review, review_all
from analysis.tracks import Tracks
from analysis.weights import Weight
from analysis.window import taken_at_ms
from collector.book.records import Animal, Dropping, Handling, Look, Meal, Shed, Stay, Weighing
from collector.readings import Quantity
from config.care import CareProfile
from config.errors import Unusable
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

LONGEST_YEARS = 3
"""A longer period is refused: a paper that nobody reads, and that takes minutes to make."""
_LONGEST_MS = (LONGEST_YEARS * 366 + 1) * 86_400_000
_COLUMNS_PER_DAY = 60.0
"""How finely a ribbon on this paper can be drawn: 14 days on about 450 points, at 130 dpi."""

_Timed = TypeVar("_Timed", Weighing, Shed, Look, Dropping, Handling)


@dataclass(frozen=True, slots=True)
class MealOnPaper:
    """A meal that was taken. `told` are the paragraphs on one that came back, else empty."""

    record: Meal
    review: Review
    ribbon: RibbonShape
    told: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, eq=False)
class VetReport:
    """One animal over [start_ms, end_ms), by what is known at `now_ms`."""

    animal: Animal
    start_ms: int
    end_ms: int
    now_ms: int
    age_months: int | None
    stays: tuple[Stay, ...]
    """Those that reach into the period."""
    offers: tuple[Meal, ...]
    """Every offer of the period, taken or not, the oldest first."""
    meals: tuple[MealOnPaper, ...]
    """Those of them that were taken."""
    zones: dict[str, ZoneDays]
    probes: tuple[tuple[str, Quantity], ...]
    """The probes that lay where it lived, with what each measures."""
    condition: Condition
    masses: tuple[Weight, ...]
    """All masses up to the period's end, so that a trend and a peak are seen."""
    weighings: tuple[Weighing, ...]
    """Those of the period, as are all that follow."""
    sheds: tuple[Shed, ...]
    looks: tuple[Look, ...]
    droppings: tuple[Dropping, ...]
    handlings: tuple[Handling, ...]
    floor_c: float
    care: CareProfile
    settings: Settings


def vet_report(
    animal: str,
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    *,
    start_ms: int,
    end_ms: int,
    now_ms: int,
) -> VetReport:
    """Gather it. Raises NotSo for no such animal, Unusable for a period that cannot be."""
    who, end_ms = book.animal(animal), min(end_ms, now_ms)
    if start_ms >= end_ms:
        raise Unusable("the period ends before it begins; it can end now at the latest")
    if end_ms - start_ms > _LONGEST_MS:
        raise Unusable(f"the period is longer than {LONGEST_YEARS} years; take a shorter one")
    facts, tracks = Facts.of(book, animal), Tracks(reader)
    floor_c = care.levels_c("below")[0]
    offers = [
        one for one in meals_as_of(book.meals(animal), now_ms) if start_ms <= _began(one) < end_ms
    ]
    stays = tuple(
        one
        for one in book.stays(animal)
        if one.since_ms < end_ms and (one.until_ms is None or one.until_ms > start_ms)
    )
    (condition,) = conditions_of_book(book, care, settings, end_ms, animal, reader=reader)

    def within(records: Sequence[_Timed]) -> tuple[_Timed, ...]:
        return tuple(one for one in records if start_ms <= one.at_ms < end_ms)

    return VetReport(
        animal=who,
        start_ms=start_ms,
        end_ms=end_ms,
        now_ms=now_ms,
        age_months=months_old(who, end_ms, settings.zone),
        stays=stays,
        offers=tuple(offers),
        meals=tuple(_meals(offers, book, reader, facts, tracks, care, settings, now_ms)),
        zones=zones_by_day(
            animal, facts, tracks, settings, floor_c=floor_c, start_ms=start_ms, end_ms=end_ms
        ),
        probes=tuple(
            dict.fromkeys(
                (key.probe, key.quantity)
                for key, *_ in probes_there(stays, facts, tracks, start_ms, end_ms)
            )
        ),
        condition=condition,
        masses=tuple(facts.masses(animal, care, end_ms)),
        weighings=within(book.weighings(animal)),
        sheds=within(book.sheds(animal)),
        looks=within(book.looks(animal)),
        droppings=within(book.droppings(animal)),
        handlings=within(book.handlings(animal)),
        floor_c=floor_c,
        care=care,
        settings=settings,
    )


def _began(meal: Meal) -> int:
    """When it was taken, or else offered; a meal without either was before all."""
    taken_ms = taken_at_ms(meal)
    return taken_ms if taken_ms is not None else meal.offered_at_ms or 0


def _meals(  # noqa: PLR0917  # a home's parts as they are opened
    offers: Sequence[Meal],
    book: Book,
    reader: Reader,
    facts: Facts,
    tracks: Tracks,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> list[MealOnPaper]:
    """One after the other: no more than one meal's readings are held."""
    records = {one.meal: one for one in offers if taken_at_ms(one) is not None}
    if not records:
        return []
    animal = next(iter(records.values())).animal
    reviews = review_all(book, reader, care, settings, now_ms, animal=animal)
    wanted = [one for one in reviews if one.meal in records]
    each = told_one_by_one(
        wanted, reviews, facts, tracks, care=care, settings=settings, now_ms=now_ms
    )
    return [
        MealOnPaper(
            records[one.review.meal],
            one.review,
            meal_ribbon(one.review, one.gathered, care, _COLUMNS_PER_DAY),
            tuple((heading, tuple(lines)) for heading, lines in paragraphs(one))
            if one.came_back
            else (),
        )
        for one in each
    ]
