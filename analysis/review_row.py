"""A review as one row of a table: its figures, and how they are said. Light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from analysis.meal_words import prey
from analysis.words import NOT_KNOWN, local_time, plain, temperature_span, whole_hours
from collector.book.records import Meal
from config.settings import Settings

if TYPE_CHECKING:
    from analysis.review import Review


@dataclass(frozen=True, slots=True)
class ReviewRow:
    """One meal's figures: °C, h, °C·h, shares from 0 to 1. None is unknown, or no probe."""

    meal: int
    animal: str
    prey: str
    """In words, in the keeper's units."""
    taken_at_ms: int
    window_h: float
    ended_by: str
    known_share: float
    probed: bool
    """True when a probe lay on the warm side."""
    warm_low_c: float | None
    warm_mean_c: float | None
    warm_high_c: float | None
    cool_low_c: float | None
    cool_high_c: float | None
    floor_c: float | None
    below_h: float | None
    """On the warm side, below the floor, by what is known."""
    below_if_cold_h: float | None
    """The same with every gap taken as cold."""
    degree_h: float | None
    longest_h: float | None
    verdict: str
    possible: str
    outcome: str | None

    @property
    def came_back(self) -> bool | None:
        """Whether it came back; None while that is not known."""
        return None if self.outcome is None else self.outcome in ("regurgitated", "vomited")


class Cells(NamedTuple):
    """A row in words, as the tables on the command line and on the page show it."""

    meal: str
    animal: str
    taken: str
    prey: str
    window: str
    known: str
    warm_side: str
    below: str
    longest: str
    verdict: str
    outcome: str


def row_of(one: Review, meal: Meal, settings: Settings) -> ReviewRow:
    """The row of a review, and of its meal as the book has it."""
    warm, cool = one.warm_side, one.cool_side
    worst = warm.below[0] if warm is not None and warm.below else None
    known = one.coverage.known_hours > 0
    return ReviewRow(
        meal=one.meal,
        animal=one.animal,
        prey=prey(meal, settings),
        taken_at_ms=one.taken_at_ms,
        window_h=one.window.hours,
        ended_by=one.window.ended_by,
        known_share=one.coverage.share,
        probed=warm is not None,
        warm_low_c=warm.min_c if warm is not None else None,
        warm_mean_c=warm.mean_c if warm is not None else None,
        warm_high_c=warm.max_c if warm is not None else None,
        cool_low_c=cool.min_c if cool is not None else None,
        cool_high_c=cool.max_c if cool is not None else None,
        floor_c=worst.below_c if worst is not None else None,
        below_h=worst.hours if worst is not None and known else None,
        below_if_cold_h=worst.hours_if_gaps_cold if worst is not None else None,
        degree_h=worst.degree_hours if worst is not None and known else None,
        longest_h=worst.longest_spell_hours if worst is not None and known else None,
        verdict=one.verdict,
        possible=one.possible,
        outcome=one.outcome.value if one.outcome is not None else None,
    )


def cells(row: ReviewRow, settings: Settings) -> Cells:
    """The row in words."""
    span = temperature_span(row.warm_low_c, row.warm_high_c, settings)
    hidden = f" (gaps could hide: {row.possible})" if row.possible != row.verdict else ""
    return Cells(
        meal=str(row.meal),
        animal=plain(row.animal),
        taken=local_time(row.taken_at_ms, settings.zone),
        prey=row.prey,
        window=f"{row.window_h:.0f} h, {row.ended_by}",
        known=f"{row.known_share * 100:.0f} %",
        warm_side=span if row.probed else "no probe",
        below=whole_hours(row.below_h),
        longest=whole_hours(row.longest_h),
        verdict=f"{row.verdict}{hidden}",
        outcome=row.outcome or f"{NOT_KNOWN} yet",
    )
