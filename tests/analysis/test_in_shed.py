"""In shed by the newest entry; and the book as it was at a moment."""

from __future__ import annotations

from dataclasses import replace

from analysis.as_of import meals_as_of, records_as_of
from analysis.in_shed import InShed, in_shed
from collector.book.records import Meal, Outcome, Shed, ShedStage, Signs, Weighing
from config.care import load_care_profile

CARE = load_care_profile("boa-constrictor")
DAY = 86_400_000
DULL, SKIN = ShedStage.IN_SHED, ShedStage.SHED


def _shed(day: float, stage: ShedStage) -> Shed:
    return Shed("Maren", round(day * DAY), stage=stage)


def test_from_dull_eyes_to_the_skin() -> None:
    entries = [_shed(40, SKIN), _shed(100, DULL), _shed(112, SKIN)]
    assert in_shed(entries, CARE, 99 * DAY) is None
    assert in_shed(entries, CARE, 100 * DAY) == InShed(100 * DAY, ask=False)
    assert in_shed(entries[::-1], CARE, 111 * DAY) == InShed(100 * DAY, ask=False)
    assert in_shed(entries, CARE, 112 * DAY) is None
    assert in_shed([], CARE, 112 * DAY) is None


def test_twenty_one_days_and_the_keeper_is_asked() -> None:
    entries = [_shed(100, DULL)]
    assert in_shed(entries, CARE, 121 * DAY) == InShed(100 * DAY, ask=False)
    assert in_shed(entries, CARE, 121 * DAY + 1) == InShed(100 * DAY, ask=True)
    again = [*entries, _shed(115, DULL)]  # seen dull again: that day counts
    assert in_shed(again, CARE, 130 * DAY) == InShed(115 * DAY, ask=False)


def test_the_skin_at_the_same_moment_ends_it() -> None:
    assert in_shed([_shed(100, SKIN), _shed(100, DULL)], CARE, 101 * DAY) is None


def test_a_meal_as_it_was_known() -> None:
    meal = Meal(
        1,
        "Maren",
        offered_at_ms=10,
        taken_at_ms=20,
        removed_at_ms=25,
        outcome=Outcome.VOMITED,
        outcome_at_ms=30,
        signs=Signs.MUCUS,
    )
    assert meals_as_of([meal], 9) == []
    offered = replace(
        meal, taken_at_ms=None, removed_at_ms=None, outcome=None, outcome_at_ms=None, signs=None
    )
    assert meals_as_of([meal], 10) == [offered]
    assert meals_as_of([meal], 29) == [replace(meal, outcome=None, outcome_at_ms=None, signs=None)]
    assert meals_as_of([meal], 30) == [meal]
    timeless = replace(meal, outcome_at_ms=None)
    assert meals_as_of([timeless], 26) == [timeless]


def test_records_up_to_a_moment() -> None:
    weighings = [Weighing("Maren", at, 100.0) for at in (30, 10, 20)]
    assert [one.at_ms for one in records_as_of(weighings, 20)] == [10, 20]
