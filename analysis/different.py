"""What was different about a meal: its factors in the order in which they are told, and one thing.

First what breaks a rule, then what is unusual for the animal, then the ordinary, then what is not
known. For a meal that came back one thing to change is named, never more: of several that are
changed at once none can be told from the others. Which one is a matter of a stated order, not of
proof.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analysis.factors import Factor, Finding
from analysis.gathering import Facts, Gathered, gathered_from
from analysis.judged import JudgedMeals
from analysis.measured import COMING_BACK, DOSE, HUMIDITY, limit_names
from analysis.measured_keeping import SHED, SINCE, SINCE_BACK, handling_name
from analysis.measured_prey import CONTRAST, FED_IN, SHARE, STATE, WIDTH
from analysis.review import Review, review_all
from analysis.tracks import Tracks
from collector.book.records import Meal, Outcome
from config.care import CareProfile
from config.errors import NotSo
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

Lever = Literal[
    "heat", "cold", "prey size", "interval", "handling", "prey warmth", "shed", "place", "air"
]
"""What a keeper can change. In this order one is named: temperature, the first that keepers'
handbooks name; then the usual reasons of common practice, prey too large, meals too close,
handling, prey half frozen; then the rest (the order is our own choice)."""

LEVERS: tuple[Lever, ...] = (
    "heat",
    "cold",
    "prey size",
    "interval",
    "handling",
    "prey warmth",
    "shed",
    "place",
    "air",
)


@dataclass(frozen=True, slots=True)
class Change:
    """The one thing to change: the factor that it rests on, and all that could be changed."""

    lever: Lever
    factor: Factor
    broken: tuple[Lever, ...]
    """Everything that breaks a rule and can be changed; with more than one, only one is tried."""


@dataclass(frozen=True, slots=True)
class Since:
    """What became of the animal's meals after this one."""

    taken: int
    stayed_down: int
    came_back: int


@dataclass(frozen=True, eq=False)
class Different:
    """One meal beside its rules and beside what the same animal kept down."""

    review: Review
    gathered: Gathered
    since: Since
    care: CareProfile
    settings: Settings

    @property
    def came_back(self) -> bool:
        """True when the meal came back up."""
        return self.review.outcome is not None and self.review.outcome.came_back

    def found(self, finding: Finding) -> tuple[Factor, ...]:
        """The factors of that finding, in their order."""
        return tuple(one for one in self.review.factors if one.finding == finding)

    @property
    def change(self) -> Change | None:
        """The one thing to change; None where the meal did not come back, or nothing stands out."""
        if not self.came_back:
            return None
        broken = [*self._levers("breaks the rule")]
        every = broken or [*self._levers("unusual for this animal")]
        if not every:
            return None
        lever, factor = min(every, key=lambda pair: LEVERS.index(pair[0]))
        return Change(lever, factor, tuple(dict.fromkeys(lever for lever, _ in broken)))

    def _levers(self, finding: Finding) -> Iterable[tuple[Lever, Factor]]:
        levers = levers_of(self.care)
        for one in self.found(finding):
            if one.factor in levers:
                yield levers[one.factor], one


def levers_of(care: CareProfile) -> dict[str, Lever]:
    """What to change for each factor; when a meal came back is nothing that can be changed."""
    of_limits: dict[str, Lever] = {
        name: "heat" if limit.side == "above" else "cold"
        for name, limit in zip(limit_names(care.limits), care.limits, strict=True)
    }
    return {
        **of_limits,
        DOSE: "cold",
        SHARE: "prey size",
        WIDTH: "prey size",
        SINCE: "interval",
        SINCE_BACK: "interval",
        handling_name(care): "handling",
        CONTRAST: "prey warmth",
        STATE: "prey warmth",
        SHED: "shed",
        FED_IN: "place",
        HUMIDITY: "air",
    }


def told_elsewhere(factor: str) -> bool:
    """True for after how many hours it came back: headline and vet's reasons say it."""
    return factor == COMING_BACK


def different_meals(
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    meal: int | None = None,
    animal: str | None = None,
    also_kept: bool = False,
    kept: JudgedMeals | None = None,
) -> tuple[list[Different], int]:
    """The meals to tell of, and how many others there are.

    One meal by its number; else those that came back, the newest first, and, `also_kept`, after
    them all others, the newest first. Raises NotSo for a meal that was not taken, or is not the
    animal's.
    """
    record = book.meal(meal) if meal is not None else None
    if record is not None:
        animal = _its_animal(record, animal)
    facts, tracks = Facts.of(book, animal), Tracks(reader)
    reviews = review_all(book, reader, care, settings, now_ms, animal=animal, kept=kept)
    if record is not None:
        wanted = [one for one in reviews if one.meal == record.meal]
    else:
        wanted = _newest(one for one in reviews if _back(one))
        wanted += _newest(one for one in reviews if not _back(one)) if also_kept else []
    told = list(
        told_one_by_one(wanted, reviews, facts, tracks, care=care, settings=settings, now_ms=now_ms)
    )
    return told, len(reviews) - len(told)


def told_one_by_one(
    wanted: Iterable[Review],
    reviews: Sequence[Review],
    facts: Facts,
    tracks: Tracks,
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> Iterator[Different]:
    """Each of the `wanted` beside all `reviews`; its lines are gathered when it is come to."""
    records = {one.meal: one for meals in facts.meals.values() for one in meals}
    for one in wanted:
        gathered = gathered_from(
            records[one.meal], facts, tracks,
            care=care, settings=settings, now_ms=now_ms, with_room=False,
        )  # fmt: skip
        yield Different(one, gathered, _since(one, reviews), care, settings)


def _its_animal(record: Meal, animal: str | None) -> str:
    if animal is not None and record.animal != animal:
        raise NotSo(f"meal {record.meal} is {record.animal}'s, not {animal}'s")
    if record.taken_at_ms is None or record.outcome is Outcome.REFUSED:
        raise NotSo(f"meal {record.meal} was not taken: there is nothing to set beside others")
    return record.animal


def _back(one: Review) -> bool:
    return one.outcome is not None and one.outcome.came_back


def _newest(reviews: Iterable[Review]) -> list[Review]:
    return sorted(reviews, key=lambda one: (one.taken_at_ms, one.meal), reverse=True)


def _since(one: Review, reviews: Sequence[Review]) -> Since:
    later = [
        other
        for other in reviews
        if other.animal == one.animal and other.taken_at_ms > one.taken_at_ms
    ]
    return Since(
        len(later), sum(other.stayed_down for other in later), sum(_back(other) for other in later)
    )
