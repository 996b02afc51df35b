"""An animal's age, and what its age says of its meals. Pure, and light."""

from __future__ import annotations

from datetime import tzinfo

from analysis.words import local_day_of
from collector.book.records import Animal
from config.care import CareProfile, Span


def months_old(animal: Animal | None, at_ms: int, zone: tzinfo) -> int | None:
    """The animal's age in whole months on the local day of a moment; None where not known."""
    if animal is None or animal.born is None:
        return None
    day, born = local_day_of(at_ms, zone), animal.born
    return (day.year - born.year) * 12 + day.month - born.month - (day.day < born.day)


def intervals(age_months: int | None, care: CareProfile) -> list[Span]:
    """The interval between meals for an age; every one where the age is not known."""
    by_age = sorted(care.feeding.intervals, key=lambda one: one.from_months)
    if age_months is None:
        return [one.days for one in by_age]
    fitting = [one for one in by_age if one.from_months <= age_months]
    return [(fitting or by_age)[-1 if fitting else 0].days]
