"""What is for a vet: mucus, blood, urate missing, two in a row, an infection; and what is not."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from analysis.verdict import Verdict
from analysis.vet_signs import VetSign, last_that_came_back, vet_signs
from collector.book.records import Dropping, Meal, Outcome, Signs, Urate
from config.care import load_care_profile

CARE = load_care_profile("boa-constrictor")
LISBON = ZoneInfo("Europe/Lisbon")
HOUR, DAY = 3_600_000, 86_400_000
NOW = 1_772_193_600_000  # 2026-02-27T12:00:00Z, a Friday
KEPT, BACK, VOMITED = Outcome.KEPT, Outcome.REGURGITATED, Outcome.VOMITED


def meal(
    days_ago: float, outcome: Outcome | None, signs: Signs | None = None, after_h: float = 41
) -> Meal:
    at_ms = NOW - round(days_ago * DAY)
    ended_ms = at_ms + round(after_h * HOUR) if outcome is not None else None
    return Meal(1, "Maren", taken_at_ms=at_ms, outcome=outcome, outcome_at_ms=ended_ms, signs=signs)


def find(
    *meals: Meal, droppings: tuple[Dropping, ...] = (), verdict: Verdict | None = None
) -> list[VetSign]:
    return vet_signs(meals, droppings, care=CARE, now_ms=NOW, zone=LISBON, verdict=verdict)


def dropped(days_ago: float, signs: Signs | None = None, urate: Urate | None = None) -> Dropping:
    return Dropping("Maren", NOW - round(days_ago * DAY), urate, signs)


@pytest.mark.parametrize(
    ("signs", "words"),
    [(Signs.MUCUS, "mucus in"), (Signs.BLOOD, "blood in"), (Signs.BOTH, "mucus and blood in")],
)
def test_mucus_or_blood_in_what_came_back(signs: Signs, words: str) -> None:
    (found,) = find(meal(5, BACK, signs))
    assert found.says.startswith(words)
    assert found.holds
    assert find(meal(5, BACK, Signs.NONE)) == find(meal(5, BACK)) == []
    assert find(meal(30, BACK, signs), meal(9, KEPT)) == []


def test_urate_missing_in_what_was_brought_up_with_it() -> None:
    """Found 23 h after it came back; at 25 h they are droppings like others."""
    back = meal(10, BACK)  # came back 10 days less 41 h ago
    near, far = (dropped(10 - (41 + hours) / 24, urate=Urate.MISSING) for hours in (23, 25))
    (found,) = find(back, droppings=(near,))
    assert "without the white urate" in found.says
    assert found.holds
    assert find(back, droppings=(far,)) == []
    assert find(meal(10, KEPT), droppings=(near,)) == []
    white = dropped(near.at_ms, urate=Urate.WHITE)
    assert find(back, droppings=(white,)) == []


def test_vomited() -> None:
    (found,) = find(meal(5, VOMITED))
    assert (found.says, found.holds) == ("the last meal was vomited: a vet at once", True)


class TestInARow:
    def test_two_and_three(self) -> None:
        (two,) = find(meal(40, BACK), meal(20, BACK))
        (three,) = find(meal(60, BACK), meal(40, BACK), meal(20, BACK))
        assert two.says == "two meals in a row came back"
        assert three.says == "three meals in a row came back"
        assert two.holds

    def test_one_between_that_stayed_down_or_is_not_known(self) -> None:
        assert find(meal(60, BACK), meal(40, KEPT), meal(20, BACK)) == []
        assert find(meal(60, BACK), meal(40, None), meal(20, BACK)) == []

    def test_an_open_one_after_them_does_not_end_it(self) -> None:
        assert len(find(meal(60, BACK), meal(40, BACK), meal(3, None))) == 1
        assert find(meal(60, BACK), meal(40, BACK), meal(3, KEPT)) == []

    def test_two_items_of_one_evening_are_one(self) -> None:
        assert find(meal(20, BACK), meal(20.02, BACK)) == []

    def test_a_refusal_between_is_no_meal(self) -> None:
        refused = Meal(2, "Maren", offered_at_ms=NOW - 30 * DAY, outcome=Outcome.REFUSED)
        assert len(find(meal(40, BACK), refused, meal(20, BACK))) == 1


class TestDroppings:
    def test_the_newest_that_were_looked_at_decide(self) -> None:
        (found,) = find(droppings=(dropped(9, Signs.MUCUS), dropped(3)))
        assert found.says == "mucus in the droppings of Wed 18 Feb"
        assert found.holds
        assert find(droppings=(dropped(9, Signs.MUCUS), dropped(3, Signs.NONE))) == []

    def test_thirty_days(self) -> None:
        assert len(find(droppings=(dropped(30, Signs.BLOOD),))) == 1
        assert find(droppings=(dropped(30.01, Signs.BLOOD),)) == []
        assert find(droppings=(dropped(-1, Signs.BLOOD),)) == []

    def test_urate_missing_alone_is_not_for_a_vet(self) -> None:
        assert find(droppings=(dropped(3, urate=Urate.MISSING),)) == []


@pytest.mark.parametrize(
    ("after_h", "verdict", "vet"),
    [
        # One to three days after the meal, with good temperatures (Clinician's Brief).
        (23.9, "warm enough", False),
        (24.0, "warm enough", True),
        (72.0, "warm enough", True),
        (72.1, "warm enough", False),
        (41.0, "too cool", False),
        (41.0, "not enough readings", False),
        (41.0, None, False),
    ],
)
def test_an_infection(after_h: float, verdict: Verdict | None, vet: bool) -> None:
    found = find(meal(10, BACK, after_h=after_h), verdict=verdict)
    assert bool(found) == vet
    assert all(not sign.holds and "Clinician's Brief" in sign.basis for sign in found)


def test_the_last_that_came_back() -> None:
    back = meal(20, BACK)
    assert last_that_came_back([meal(40, KEPT), back, meal(3, None)], NOW) == back
    assert last_that_came_back([back, meal(3, KEPT)], NOW) is None
    assert last_that_came_back([meal(-1, BACK)], NOW) is None
    assert last_that_came_back([], NOW) is None
