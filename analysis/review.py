"""A meal judged: exposure, digestion, verdict, factors, in one record that everything shows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING

from analysis.digestion import AT_C, model_days
from analysis.exposure import NOTHING, Line
from analysis.factors import Factor, StayedDown, findings
from analysis.gathering import Facts, Gathered, gather, gathered_from
from analysis.judged import JudgedMeals
from analysis.measured import Measured, measured
from analysis.progress import Progress, progress, swing_factor
from analysis.reasons import (
    coverage_reasons,
    disagreement_reasons,
    limit_reasons,
    no_probe,
    swing_reason,
    thinned_reasons,
)
from analysis.review_json import review_json
from analysis.tracks import Tracks
from analysis.verdict import NO_PROBE, Held, Verdict, held_against, verdict_of
from analysis.vet import vet_of_meal, vet_text
from analysis.vet_signs import VetSign
from analysis.warmth import (
    Coverage,
    Humidity,
    Temperatures,
    WarmSide,
    coverage,
    humidity,
    temperatures,
    warm_side,
)
from analysis.window import Window, taken_at_ms
from collector.book.records import Meal, Outcome
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

__all__ = ["Gathered", "Review", "gather", "review", "review_all", "swing_of"]


@dataclass(frozen=True, slots=True)
class DigestionFigures:
    """The digestion model over the window; None where meal or body mass, or the line, is unknown.

    Progress is a share of the meal, the least where readings are missing. `swing_factor` is what
    both sides' time was lengthened by.
    """

    model_days_at_30c: float | None
    progress_warm_side: float | None
    progress_cool_side: float | None
    through_at_warm_side_ms: float | None
    swing_factor: float


@dataclass(frozen=True, slots=True)
class Review:
    """One meal judged. `warm_side`, `cool_side`, `humidity` are None where no probe was placed."""

    meal: int
    animal: str
    enclosure: str | None
    taken_at_ms: int
    window: Window
    coverage: Coverage
    warm_side: WarmSide | None
    cool_side: Temperatures | None
    humidity: Humidity | None
    digestion: DigestionFigures
    verdict: Verdict
    possible: Verdict
    reasons: tuple[str, ...]
    outcome: Outcome | None
    outcome_at_ms: int | None
    factors: tuple[Factor, ...]
    vet: tuple[VetSign, ...]
    """Why to see a vet, by what is known until the next meal; also among the reasons."""
    held: tuple[Held, ...] = field(repr=False)
    """The warm side against every limit of the care profile; empty without a probe."""
    measured: tuple[Measured, ...] = field(repr=False)
    """The factors as figures, before they were set beside other meals."""

    @property
    def stayed_down(self) -> bool:
        """True when the meal is known to have been kept or passed."""
        return self.outcome in (Outcome.KEPT, Outcome.PASSED)

    def as_json(self) -> dict[str, object]:
        """The review as JSON has it: figures unrounded, times RFC 3339 in UTC."""
        return review_json(self)


def review(
    gathered: Gathered, care: CareProfile, settings: Settings, others: Sequence[Review] = ()
) -> Review:
    """Judge one meal. `others` are the same animal's other meals, for what is unusual for it."""
    own = gathered.of_window()
    known, window, meal = own.warm if own.warm is not None else NOTHING, own.window, own.meal
    held = held_against(own.warm, window, care) if own.warm is not None else ()
    verdict, possible = verdict_of(held) if own.warm is not None else (NO_PROBE, NO_PROBE)
    covered, digested = coverage(known, window), _digestion(own, care)
    figures = tuple(measured(own, held, verdict, care))
    judged = Review(
        meal=meal.meal,
        animal=meal.animal,
        enclosure=own.enclosure,
        taken_at_ms=window.start_ms,
        window=window,
        coverage=covered,
        warm_side=warm_side(own.warm, window, care) if own.warm is not None else None,
        cool_side=temperatures(own.cool) if own.cool is not None else None,
        humidity=humidity(own.humidity) if own.humidity is not None else None,
        digestion=digested,
        verdict=verdict,
        possible=possible,
        reasons=(),
        outcome=meal.outcome,
        outcome_at_ms=meal.outcome_at_ms,
        factors=(),
        vet=vet_of_meal(own, verdict, care, settings),
        held=held,
        measured=figures,
    )
    reasons = tuple(_reasons(judged, own, care, settings))
    rest = _stayed_down(other for other in others if other.meal != judged.meal)
    return _beside(replace(judged, reasons=reasons), rest, is_one=False)


def review_all(  # noqa: PLR0917  # callers hand over a home's parts in the order they are opened
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    animal: str | None = None,
    *,
    kept: JudgedMeals | None = None,
) -> list[Review]:
    """Every meal that was taken, of one animal or of all, judged; the oldest first.

    Offers that were refused or not taken have no window and are not among them. What `kept` has
    is not judged again where it still holds.
    """
    facts, tracks = Facts.of(book, animal), Tracks(reader)
    look = kept.now(book, reader, facts, now_ms) if kept is not None else None
    meals = [
        (taken_at_ms(meal), meal.meal, meal) for meals in facts.meals.values() for meal in meals
    ]

    def judge(meal: Meal) -> Review:
        gathered = gathered_from(
            meal, facts, tracks, care=care, settings=settings, now_ms=now_ms, with_room=False
        )
        return review(gathered, care, settings)

    judged = [
        look.review(meal, partial(judge, meal)) if look is not None else judge(meal)
        for *_, meal in sorted(meals, key=itemgetter(0, 1))
    ]
    by_animal = groupby(sorted(judged, key=_animal), key=_animal)
    down = {name: _stayed_down(reviews) for name, reviews in by_animal}
    return [_beside(one, down[one.animal]) for one in judged]


def _animal(one: Review) -> str:
    return one.animal


def _stayed_down(reviews: Iterable[Review]) -> StayedDown:
    return StayedDown(one.measured for one in reviews if one.stayed_down)


def _beside(one: Review, down: StayedDown, *, is_one: bool | None = None) -> Review:
    """The review with its factors set beside what the animal kept down."""
    among_them = one.stayed_down if is_one is None else is_one
    return replace(one, factors=tuple(findings(one.measured, down, is_one=among_them)))


def swing_of(own: Gathered, care: CareProfile) -> float:
    """What a daily swing over a meal's window lengthens its digestion by; 1 without one."""
    warm = own.warm if own.warm is not None else NOTHING
    return swing_factor(warm, own.window.start_ms, own.window.end_ms, care.digestion)


def _digestion(own: Gathered, care: CareProfile) -> DigestionFigures:
    """The model's figures. Named days are the plain model's, without the swing's factor."""
    pct, model, factor = own.meal_pct, care.digestion, swing_of(own, care)
    if pct is None:
        return DigestionFigures(None, None, None, None, factor)

    def along(line: Line | None) -> Progress | None:
        if line is None or not len(line):
            return None
        return progress(line, pct, model, factor=factor)

    warm, cool = along(own.warm), along(own.cool)
    return DigestionFigures(
        model_days_at_30c=model_days(pct, AT_C, model),
        progress_warm_side=warm.share if warm is not None else None,
        progress_cool_side=cool.share if cool is not None else None,
        through_at_warm_side_ms=warm.through_at_ms if warm is not None else None,
        swing_factor=factor,
    )


def _reasons(one: Review, own: Gathered, care: CareProfile, settings: Settings) -> Iterator[str]:
    if one.warm_side is None:
        yield no_probe()
    yield from limit_reasons(one.held, one.coverage, one.window, settings)
    yield from thinned_reasons(own.by_hour)
    yield from disagreement_reasons(own.disagreements, settings)
    yield from coverage_reasons(one.coverage, one.window, one.digestion.progress_warm_side)
    if one.digestion.swing_factor != 1.0:
        yield swing_reason(care.digestion, settings)
    yield from (f"see a vet: {vet_text(sign)}" for sign in one.vet)
