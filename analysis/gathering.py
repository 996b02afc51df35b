"""Everything a meal is judged by, gathered from the book and the readings."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, tzinfo
from functools import partial
from itertools import takewhile
from typing import TYPE_CHECKING, TypedDict, TypeVar

from analysis.ages import months_old
from analysis.exposure import Line
from analysis.tracks import Tracks
from analysis.weights import Weight, weights
from analysis.window import Window, body_mass_g, meal_pct, meal_window, midbody_mm, taken_at_ms
from analysis.zone_hours import zone_hours
from analysis.zones import Disagreement, room_placements, zone_line
from collector.book.records import (
    Animal,
    Dropping,
    Enclosure,
    Handling,
    Meal,
    Placement,
    Shed,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

_MINUTE_MS = 60_000.0

_OfAnimal = TypeVar("_OfAnimal", Stay, Meal, Weighing, Handling, Shed, Dropping)


@dataclass(frozen=True, eq=False)
class Gathered:
    """A meal with its window, and the lines over it. A line that is None: no probe was placed.

    The lines reach from the window's start to `until_ms`, which is its end unless more was asked
    for. `handlings` are those of that time, and one that was still going on when it began.
    """

    meal: Meal
    window: Window
    until_ms: int
    now_ms: int
    animal: Animal | None
    enclosure: str | None
    """Where the animal was when it took the meal; None when the book does not say."""
    warm: Line | None
    cool: Line | None
    humidity: Line | None
    room: Line | None
    warm_probes: tuple[str, ...]
    disagreements: tuple[Disagreement, ...]
    """Of the warm side's probes."""
    handlings: tuple[Handling, ...]
    body_mass_g: float | None
    midbody_mm: float | None
    meal_pct: float | None
    age_months: int | None
    """The animal's age at the meal, in whole months."""
    meal_before: Meal | None
    """The meal taken before this one."""
    sheds: tuple[Shed, ...] = ()
    """All of the animal's up to now."""
    droppings: tuple[Dropping, ...] = ()
    """Found since this meal, and before the next one."""
    masses: tuple[Weight, ...] = ()
    """The animal's up to the next meal, or now."""
    came_back_before: tuple[Meal, ...] = ()
    """The meals taken just before it that came back, without one between that did not."""
    next_meal_ms: int | None = None
    """When the next meal was taken, where that is not later than now."""
    by_hour: int = 0
    """Hours of which the warm side's readings were thinned: no line, and no verdict, has them."""
    zone: tzinfo = UTC
    """The home's: rules in days count its calendar days."""

    of_window_alone: Gathered | None = field(default=None, repr=False)
    """The same over the window alone, where the lines reach beyond it."""

    def of_window(self) -> Gathered:
        """What the meal is judged by: nothing from beyond its window."""
        return self.of_window_alone if self.of_window_alone is not None else self


@dataclass(frozen=True, slots=True)
class Facts:
    """What the book says, read once for many meals."""

    animals: dict[str, Animal] = field(default_factory=dict)
    stays: dict[str, list[Stay]] = field(default_factory=dict)
    meals: dict[str, list[Meal]] = field(default_factory=dict)
    """Those that were taken, in the order of their taking."""
    weighings: dict[str, list[Weighing]] = field(default_factory=dict)
    handlings: dict[str, list[Handling]] = field(default_factory=dict)
    sheds: dict[str, list[Shed]] = field(default_factory=dict)
    droppings: dict[str, list[Dropping]] = field(default_factory=dict)
    placements: tuple[Placement, ...] = ()
    """All but the room probes'."""
    rooms: tuple[Placement, ...] = ()
    """The room probes, once for every enclosure they measure for."""
    _masses: dict[tuple[str, int], list[Weight]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def masses(self, animal: str, care: CareProfile, now_ms: int) -> list[Weight]:
        """An animal's masses up to now; worked out once for all its meals."""
        key = animal, now_ms
        if key not in self._masses:
            weighed, fed = self.weighings.get(animal, []), self.meals.get(animal, [])
            self._masses[key] = weights(weighed, fed, care, now_ms)
        return self._masses[key]

    @classmethod
    def of(cls, book: Book, animal: str | None = None) -> Facts:
        """From the book: of one animal, or of all."""
        return cls.of_records(
            animals=book.animals(),
            stays=book.stays(animal),
            meals=book.meals(animal),
            weighings=book.weighings(animal),
            handlings=book.handlings(animal),
            sheds=book.sheds(animal),
            droppings=book.droppings(animal),
            placements=book.placements(),
            enclosures=book.enclosures(),
        )

    @classmethod
    def of_records(
        cls,
        *,
        animals: Iterable[Animal] = (),
        stays: Iterable[Stay] = (),
        meals: Iterable[Meal] = (),
        weighings: Iterable[Weighing] = (),
        handlings: Iterable[Handling] = (),
        sheds: Iterable[Shed] = (),
        droppings: Iterable[Dropping] = (),
        placements: Sequence[Placement] = (),
        enclosures: Iterable[Enclosure] = (),
    ) -> Facts:
        """From the records themselves."""
        return cls(
            animals={one.animal: one for one in animals},
            stays=_by_animal(stays),
            meals=_by_animal(sorted((m for m in meals if taken_at_ms(m) is not None), key=_taken)),
            weighings=_by_animal(weighings),
            handlings=_by_animal(handlings),
            sheds=_by_animal(sheds),
            droppings=_by_animal(droppings),
            placements=tuple(one for one in placements if one.zone is not Zone.ROOM),
            rooms=tuple(room_placements(placements, enclosures)),
        )


def gather(  # noqa: PLR0917  # callers hand over a home's parts in the order they are opened
    meal: Meal,
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    until_ms: int | None = None,
) -> Gathered:
    """Everything about one meal that was taken; the lines to `until_ms` if that is later.

    Raises ValueError for a meal that was not taken.
    """
    facts = Facts.of(book, meal.animal)
    return gathered_from(
        meal, facts, Tracks(reader), care=care, settings=settings, now_ms=now_ms, until_ms=until_ms
    )


def gathered_from(
    meal: Meal,
    facts: Facts,
    tracks: Tracks,
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    until_ms: int | None = None,
    with_room: bool = True,
) -> Gathered:
    """The same from facts and tracks that serve many meals. The room is for pictures only."""
    weighings = facts.weighings.get(meal.animal, [])
    before, after = _neighbours(meal, facts.meals.get(meal.animal, []))
    window = meal_window(meal, after, weighings, care, now_ms)
    body_g = body_mass_g(weighings, window.start_ms)
    next_ms = taken_at_ms(after[0]) if after else None
    next_ms = next_ms if next_ms is not None and next_ms <= now_ms else None
    before_ms = next_ms if next_ms is not None else now_ms

    def reaching(end_ms: int) -> Gathered:
        return Gathered(
            meal=meal,
            window=window,
            until_ms=end_ms,
            now_ms=now_ms,
            animal=facts.animals.get(meal.animal),
            enclosure=_enclosure_at(facts.stays.get(meal.animal, []), window.start_ms),
            handlings=tuple(_handled(facts.handlings.get(meal.animal, []), window, end_ms)),
            body_mass_g=body_g,
            midbody_mm=midbody_mm(weighings, window.start_ms),
            meal_pct=meal_pct(meal, body_g),
            age_months=months_old(facts.animals.get(meal.animal), window.start_ms, settings.zone),
            meal_before=before,
            sheds=tuple(one for one in facts.sheds.get(meal.animal, []) if one.at_ms <= now_ms),
            droppings=tuple(
                one
                for one in facts.droppings.get(meal.animal, [])
                if window.start_ms <= one.at_ms < before_ms
            ),
            masses=tuple(
                one for one in facts.masses(meal.animal, care, now_ms) if one.at_ms < before_ms
            ),
            came_back_before=_came_back_before(meal, facts.meals.get(meal.animal, [])),
            next_meal_ms=next_ms,
            zone=settings.zone,
            **_lines(
                meal.animal,
                (window.start_ms, end_ms),
                facts,
                tracks,
                settings=settings,
                with_room=with_room,
            ),
        )

    own = reaching(window.end_ms)
    if until_ms is None or until_ms <= window.end_ms:
        return own
    return replace(reaching(until_ms), of_window_alone=own)


class _Lines(TypedDict):
    warm: Line | None
    cool: Line | None
    humidity: Line | None
    room: Line | None
    warm_probes: tuple[str, ...]
    disagreements: tuple[Disagreement, ...]
    by_hour: int


def _lines(
    animal: str,
    span: tuple[int, int],
    facts: Facts,
    tracks: Tracks,
    *,
    settings: Settings,
    with_room: bool,
) -> _Lines:
    line = partial(
        zone_line,
        start_ms=span[0],
        end_ms=span[1],
        stays=facts.stays.get(animal, []),
        tracks=tracks,
        gap_ms=settings.review.gap_minutes * _MINUTE_MS,
    )
    placed, apart_c = facts.placements, settings.review.probes_disagree_c
    rooms = facts.rooms if with_room else ()
    warm = line(Zone.WARM_SIDE, Quantity.TEMPERATURE, placements=placed, apart_c=apart_c)
    thinned = zone_hours(
        Zone.WARM_SIDE, Quantity.TEMPERATURE, *span,
        stays=facts.stays.get(animal, []), placements=placed, tracks=tracks,
    )  # fmt: skip
    return {
        "warm": warm.line,
        "cool": line(Zone.COOL_SIDE, Quantity.TEMPERATURE, placements=placed).line,
        "humidity": line(set(Zone) - {Zone.ROOM}, Quantity.HUMIDITY, placements=placed).line,
        "room": line(Zone.ROOM, Quantity.TEMPERATURE, placements=rooms).line,
        "warm_probes": warm.probes,
        "disagreements": warm.disagreements,
        "by_hour": len(thinned.outside(warm.line)),
    }


def _by_animal(records: Iterable[_OfAnimal]) -> dict[str, list[_OfAnimal]]:
    found: dict[str, list[_OfAnimal]] = {}
    for one in records:
        found.setdefault(one.animal, []).append(one)
    return found


def _enclosure_at(stays: Iterable[Stay], at_ms: int) -> str | None:
    for stay in stays:
        if stay.since_ms <= at_ms and (stay.until_ms is None or at_ms < stay.until_ms):
            return stay.enclosure
    return None


def _handled(handlings: Iterable[Handling], window: Window, end_ms: int) -> list[Handling]:
    start_ms = window.start_ms
    found = [
        one
        for one in handlings
        if one.at_ms < end_ms
        and (one.at_ms >= start_ms or one.at_ms + (one.minutes or 0.0) * _MINUTE_MS > start_ms)
    ]
    return sorted(found, key=lambda one: one.at_ms)


def _neighbours(meal: Meal, taken: Sequence[Meal]) -> tuple[Meal | None, Sequence[Meal]]:
    """The meal taken before, and the next one where there is one, of those in order of taking."""
    at = _taken(meal)
    before, after = bisect_left(taken, at, key=_taken), bisect_right(taken, at, key=_taken)
    return taken[before - 1] if before else None, taken[after : after + 1]


def _came_back_before(meal: Meal, taken: Sequence[Meal]) -> tuple[Meal, ...]:
    """The unbroken run of meals that came back before this one, in the order of their taking."""
    before = taken[: bisect_left(taken, _taken(meal), key=_taken)]
    run = takewhile(lambda one: one.outcome is not None and one.outcome.came_back, before[::-1])
    return tuple(run)[::-1]


def _taken(meal: Meal) -> int:
    at_ms = taken_at_ms(meal)
    return at_ms if at_ms is not None else -1
