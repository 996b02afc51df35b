"""A pattern claims no more than a book shows: on books dealt at random, and on planted effects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import rankdata

from analysis import compared, matching
from analysis.at_risk import Fed
from analysis.compared import YesNo
from analysis.measured import Measured
from analysis.pattern import LEVEL, Pattern, pattern
from analysis.pattern_words import sentences
from tests.analysis.meals import SETTINGS
from tests.analysis.simulated_books import book
from tests.analysis.small_books import dealt, dosed, fed_one, in_turn, only

COLD = {"longest cold spell", "degree-hours below the floor"}
NULLS: dict[str, tuple[int, dict[str, Any]]] = {
    "of every size": (2_000, {}),
    "of 6 animals with 10 meals": (3_000, {"animals": 6, "meals": 10}),
    # Times that have nothing to do with each other, each in one stretch of an animal's life.
    "with bad times and cold times": (2_000, {"animals": 6, "meals": 35, "spells": True}),
    # What comes after a meal that came back is made by it, and shows nothing.
    "whose keeper reacts": (4_000, {"animals": 6, "meals": 35, "reacts": True}),
}
"""Books without any true effect: the first seed of the campaign's, and what they are like."""

PLANTED: dict[str, tuple[int, dict[str, Any], float]] = {
    "6 x 30": (0, {"animals": 6, "meals": 30}, 0.95),
    "6 x 30, keeper reacts": (100, {"animals": 6, "meals": 30, "reacts": True}, 0.45),
    "6 x 15": (200, {"animals": 6, "meals": 15}, 0.50),
}
"""Books in which long cold spells bring up two meals in five, and how many must be found."""


def _named(of: Pattern) -> set[str]:
    return {one.of.condition for one in of.named}


def _without_effect(seeds: Sequence[int], **kept: Any) -> int:
    """How many of the seeded books get a condition named, whichever."""
    return sum(bool(pattern(book(np.random.default_rng(s), **kept)).named) for s in seeds)


def test_without_effect_it_keeps_quiet() -> None:
    """The first 8 of the campaign's books of every size, and 3 whose keeper reacts.

    At 5 % a third one of 11 has a chance of 2 %.
    """
    reacting, like = NULLS["whose keeper reacts"]
    claimed = _without_effect(range(2_000, 2_008))
    assert claimed + _without_effect(range(reacting, reacting + 3), **like) <= 2


@pytest.mark.campaign
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", NULLS)
def test_two_hundred_books_without_effect(kind: str) -> None:
    """At most 5 % of them get anything named, all conditions together."""
    first, like = NULLS[kind]
    claimed = _without_effect(range(first, first + 200), **like)
    print(f"{kind}: {claimed} of 200 books, seeds from {first}")  # noqa: T201  # for the record
    assert claimed / 200 <= LEVEL


def test_a_planted_effect_is_found() -> None:
    """Long cold spells bring up two meals in five: found in 4 of 4 books of 6 × 30 meals."""
    found = [
        _named(pattern(book(np.random.default_rng(s), effect=0.4, animals=6, meals=30)))
        for s in range(4)
    ]
    assert all(names & COLD for names in found)


@pytest.mark.campaign
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_effect_is_found_and_nothing_else(kind: str) -> None:
    """In 60 books: the cold in so many of them, and in at most 5 % something unrelated."""
    first, like, share = PLANTED[kind]
    found = [
        _named(pattern(book(np.random.default_rng(s), effect=0.4, **like)))
        for s in range(first, first + 60)
    ]
    # Hours below 25 and 22 °C are cold as well.
    cold = [bool({n for n in names if n in COLD or n.startswith("hours below")}) for names in found]
    other = [bool({n for n in names - COLD if not n.startswith("hours below")}) for names in found]
    print(f"{kind}: cold {sum(cold)}, other {sum(other)} of 60 books")  # noqa: T201
    assert sum(cold) / 60 >= share
    assert sum(other) / 60 <= LEVEL


def test_hours_that_cannot_be_compared_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Meals as they stand, one looked at for two days and one for two weeks, would mislead."""
    seeds = range(5_000, 5_003)
    books = [book(np.random.default_rng(s), animals=8, meals=40) for s in seeds]
    every = frozenset(name for meal in books[0] for name in meal.fixed)
    right = [_named(pattern(meals)) & COLD for meals in books]
    monkeypatch.setattr(matching, "SETTLED", every)
    monkeypatch.setattr(compared, "SETTLED", every)
    as_they_stand = [_named(pattern(meals)) & COLD for meals in books]
    assert not any(right)
    assert sum(map(bool, as_they_stand)) >= 2


# ---- small books, by hand --------------------------------------------------------------------


def test_by_hand() -> None:
    """3 of 4 in a box came back, 1 of 4 not in a box: Fisher 1935's tea table, p 34/70."""
    found = pattern(dealt((3, 1, 1, 3)))
    one = only(found)
    assert one.p == pytest.approx(34 / 70)
    assert one.smallest_p == pytest.approx(2 / 70)
    assert one.state == "not decided"
    assert one.more_often
    assert one.more_meals is not None
    assert found.came_back.count == 4
    assert found.looked_at == 1


def test_amounts_by_hand() -> None:
    """25 % came back, 5, 10, 10 and 15 % stayed down: the highest of five, 2 × 1/5; and 15 % came
    back among 5, 15, 15 and 25 %: in the middle, tied with two others."""
    first = pattern(
        [dosed(i, p, back=p == 25) for i, p in enumerate([5.0, 10.0, 25.0, 10.0, 15.0])]
    )
    amount = first.judged[-1]
    assert amount.p == pytest.approx(0.4)
    assert amount.smallest_p == pytest.approx(0.4)
    middle = pattern(
        [dosed(i, p, back=i == 1) for i, p in enumerate([5.0, 15.0, 15.0, 15.0, 25.0])]
    )
    assert middle.judged[-1].p == pytest.approx(1.0)
    assert middle.judged[-1].more_often is None


def test_ranks_are_mid_ranks() -> None:
    values = [3.0, 1.0, 3.0, 2.0, 3.0, 1.0]
    assert compared._ranks(values) == [int(2 * rank) for rank in rankdata(values)]


def test_too_few_to_show_anything() -> None:
    """1 of 1 against 0 of 3: the smallest p there is is 1/4."""
    one = only(pattern(dealt((1, 0, 0, 3))))
    assert one.smallest_p == pytest.approx(0.25)
    assert one.state == "too few to show"


def test_a_clear_one_is_named() -> None:
    found = pattern(dealt((5, 0, 0, 5), (4, 1, 0, 5)))
    one = only(found)
    assert one.state == "goes together"
    assert one.more_meals is None
    assert _named(found) == {"fed in"}


def test_animals_that_differ_are_not_a_pattern() -> None:
    """One animal is fed in a box and ill; within neither is there any difference to see.

    As if no two meals were of one animal, Fisher's test would be sure.
    """
    one = only(pattern(dealt((8, 2, 0, 0), (0, 0, 1, 9))))
    assert one.state == "nothing to compare"
    assert one.of.pooled is not None  # type: ignore[union-attr]
    assert one.of.pooled.p_two_sided < 0.01  # type: ignore[union-attr]


def test_a_change_made_for_an_outcome_is_said() -> None:
    """The first meal of each of 8 animals came back in a box; from then on none was in a box.

    Beside the eight near it that did not follow it at once each stands alone in the box; beside
    earlier ones there is nothing.
    """
    found = pattern(in_turn(*["B" + "e" * 9] * 8))
    one = only(found)
    assert one.p == pytest.approx((1 / 9) ** 8)
    assert one.earlier_p is None
    assert one.state == "goes together"
    assert not one.holds_beside_earlier
    assert "if something was changed after a meal came back" in " ".join(sentences(found, SETTINGS))


def test_what_earlier_meals_show_as_well_is_said() -> None:
    """The last meal of each of 4 animals was the only one in a box, and came back."""
    found = pattern(in_turn(*["e" * 9 + "B"] * 4))
    one = only(found)
    assert one.earlier_p == pytest.approx(1e-4)
    assert one.holds_beside_earlier
    assert "shows beside earlier meals alone as well" in " ".join(sentences(found, SETTINGS))


def test_earlier_meals_that_show_the_opposite_do_not_hold() -> None:
    """Twelve first meals in a box came back, and nine later ones elsewhere did not; for four
    animals it was the other way round, and only theirs have anything before them."""
    one = only(pattern(in_turn(*["B" + "e" * 9] * 12, *["b" * 9 + "E"] * 4)))
    assert one.state == "goes together"
    assert one.more_often
    assert one.earlier_p == pytest.approx(1e-4)
    assert not one.holds_beside_earlier


def test_earlier_meals_that_hardly_differ_do_not_hold() -> None:
    """One animal of five has earlier meals: 1 of 1 against 0 of 9, p 1/10."""
    one = only(pattern(in_turn(*["B" + "e" * 9] * 4, "e" * 9 + "B")))
    assert one.state == "goes together"
    assert one.earlier_p == pytest.approx(0.1)
    assert not one.holds_beside_earlier


def test_rates_are_of_the_hours_that_can_be_compared() -> None:
    """Over their own two weeks all were cold; over the 41 hours of the one that came back none."""

    def cold(*, breaks: bool) -> Measured:
        return Measured("longest cold spell", 9.0 if breaks else 1.0, "a rule", 6.0, breaks)

    meals = [
        Fed(
            i,
            "Maren",
            i == 0,
            41.0,
            {"longest cold spell": cold(breaks=True)},
            {41.0: {"longest cold spell": cold(breaks=i == 0)}},
        )
        for i in range(4)
    ]
    one = only(pattern(meals)).of
    assert isinstance(one, YesNo)
    assert (one.with_it.count, one.with_it.of, one.without_it.of) == (1, 1, 3)
    assert one.hour_for_hour


def test_an_amount_with_readings_missing_is_not_known() -> None:
    meals = [dosed(i, p, back=p == 25) for i, p in enumerate([5.0, 10.0, 25.0, 15.0])]
    hidden = [
        replace(one, fixed={n: replace(f, whole=False) for n, f in one.fixed.items()})
        for one in [dosed(9, 90.0, back=False)]
    ]
    amount = pattern([*meals, *hidden]).judged[-1]
    assert amount.of.unknown == 1
    assert amount.p == pytest.approx(0.5)  # the highest of four, 2 × 1/4


def test_a_limit_that_differs_from_meal_to_meal_is_not_told() -> None:
    """Over 40 % another limit holds than over 20 %."""
    share = [dosed(i, p, back=p > 20) for i, p in enumerate([5.0, 10.0, 25.0])]
    other = replace(share[2].fixed["prey share of body mass"], limit=40.0)
    mixed = [*share[:2], replace(share[2], fixed={other.factor: other})]
    one, several = (pattern(meals).judged[0].of for meals in (share, mixed))
    assert isinstance(one, YesNo)
    assert isinstance(several, YesNo)
    assert (one.limit, several.limit) == (20.0, None)
    assert "prey over 20 % of body mass" in " ".join(sentences(pattern(share), SETTINGS))
    assert "large prey for the animal" in " ".join(sentences(pattern(mixed), SETTINGS))


def test_a_difference_is_judged_by_all_that_will_count() -> None:
    """The meals asked for are those at the level that a longer book has: all that can compare."""
    alone = only(pattern(dealt((3, 1, 1, 3))))
    meals = [
        replace(
            meal,
            fixed={
                **meal.fixed,
                "prey state": Measured("prey state", meal.fixed["fed in"].value, "x"),
                "prey surface contrast": replace(
                    meal.fixed["fed in"], factor="prey surface contrast", breaks=meal.meal % 2 == 0
                ),
            },
        )
        for meal in dealt((3, 1, 1, 3))
    ]
    three = pattern(meals)
    (beside,) = (one for one in three.judged if one.of.condition == "fed in")
    assert three.looked_at == 2
    assert alone.more_meals is not None
    assert beside.more_meals is not None
    assert beside.more_meals > alone.more_meals


def test_a_dose_that_each_animal_has_but_one_of_is_no_fault() -> None:
    """Each animal's prey always weighs the same share of it: nothing to compare, and no crash."""
    meals = [
        replace(dosed(i, pct, back=i % 5 == 0), animal=name)
        for name, pct, first in (("Maren", 8.0, 0), ("Ombra", 12.0, 50))
        for i in range(first, first + 10)
    ]
    assert [one.state for one in pattern(meals).judged] == ["nothing to compare"] * 2


def test_what_is_not_known_is_left_out_and_counted() -> None:
    meals = [*dealt((3, 1, 1, 3)), fed_one(90, "animal 0", back=True, box=None)]
    one = only(pattern(meals))
    assert one.of.unknown == 1
    assert one.p == pytest.approx(34 / 70)


@pytest.mark.parametrize("meals", [[], dealt((0, 5, 0, 5)), dealt((2, 0, 0, 0))])
def test_nothing_to_compare(meals: list[Fed]) -> None:
    found = pattern(meals)
    assert found.looked_at == 0
    assert not found.named
    assert sentences(found, SETTINGS)
