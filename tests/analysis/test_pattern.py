"""A pattern claims no more than a book shows: on books dealt at random, and on planted effects."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import rankdata

from analysis import compared, matching
from analysis.at_risk import Fed, Left
from analysis.compared import Amount, YesNo
from analysis.measured import Measured
from analysis.pattern import LEVEL, Judged, Pattern, pattern
from analysis.pattern_words import _odds, _phrase, _round_up, sentences
from config.settings import Settings, Show
from tests.analysis.meals import SETTINGS
from tests.analysis.simulated_books import book

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
    """Long cold spells bring up two meals in five: found in 8 of 8 books of 6 × 30 meals."""
    found = [
        _named(pattern(book(np.random.default_rng(s), effect=0.4, animals=6, meals=30)))
        for s in range(8)
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


def _fed(number: int, animal: str, *, back: bool, box: bool | None) -> Fed:
    word = None if box is None else "box" if box else "enclosure"
    fed_in = Measured("fed in", word, "common practice", rank_by=word)
    return Fed(number, animal, back, None, {"fed in": fed_in}, {})


def _book(*animals: tuple[int, int, int, int]) -> list[Fed]:
    """For each animal: in a box and came back, and stayed down; not in a box, likewise."""
    meals: list[Fed] = []
    for index, cells in enumerate(animals):
        for count, (box, back) in zip(
            cells, [(True, True), (True, False), (False, True), (False, False)], strict=True
        ):
            for _ in range(count):
                meals.append(_fed(len(meals), f"animal {index}", back=back, box=box))
    return meals


def _in_turn(*animals: str) -> list[Fed]:
    """Each animal's meals in order: b in a box, e in the enclosure; a capital letter came back."""
    meals: list[Fed] = []
    for index, letters in enumerate(animals):
        for place, letter in enumerate(letters):
            one = _fed(len(meals), f"animal {index}", back=letter.isupper(), box=letter in "bB")
            after_back = place > 0 and letters[place - 1].isupper()
            meals.append(replace(one, after_one_back=after_back))
    return meals


def _only(of: Pattern) -> Judged:
    (one,) = of.judged
    return one


def test_by_hand() -> None:
    """3 of 4 in a box came back, 1 of 4 not in a box: Fisher 1935's tea table, p 34/70."""
    found = pattern(_book((3, 1, 1, 3)))
    one = _only(found)
    assert one.p == pytest.approx(34 / 70)
    assert one.smallest_p == pytest.approx(2 / 70)
    assert one.state == "not decided"
    assert one.more_often
    assert one.more_meals is not None
    assert found.came_back.count == 4
    assert found.looked_at == 1


def _dosed(number: int, pct: float, *, back: bool) -> Fed:
    share = Measured(
        "prey share of body mass", pct, "a chart", limit=20.0, breaks=pct > 20, rank_by=pct
    )
    return Fed(number, "Maren", back, None, {share.factor: share}, {})


def test_amounts_by_hand() -> None:
    """25 % came back, 5, 10, 10 and 15 % stayed down: the highest of five, 2 × 1/5; and 15 % came
    back among 5, 15, 15 and 25 %: in the middle, tied with two others."""
    first = pattern(
        [_dosed(i, p, back=p == 25) for i, p in enumerate([5.0, 10.0, 25.0, 10.0, 15.0])]
    )
    amount = first.judged[-1]
    assert amount.p == pytest.approx(0.4)
    assert amount.smallest_p == pytest.approx(0.4)
    middle = pattern(
        [_dosed(i, p, back=i == 1) for i, p in enumerate([5.0, 15.0, 15.0, 15.0, 25.0])]
    )
    assert middle.judged[-1].p == pytest.approx(1.0)
    assert middle.judged[-1].more_often is None


def test_ranks_are_mid_ranks() -> None:
    values = [3.0, 1.0, 3.0, 2.0, 3.0, 1.0]
    assert compared._ranks(values) == [int(2 * rank) for rank in rankdata(values)]


def test_too_few_to_show_anything() -> None:
    """1 of 1 against 0 of 3: the smallest p there is is 1/4."""
    one = _only(pattern(_book((1, 0, 0, 3))))
    assert one.smallest_p == pytest.approx(0.25)
    assert one.state == "too few to show"


def test_a_clear_one_is_named() -> None:
    found = pattern(_book((5, 0, 0, 5), (4, 1, 0, 5)))
    one = _only(found)
    assert one.state == "goes together"
    assert one.more_meals is None
    assert _named(found) == {"fed in"}


def test_animals_that_differ_are_not_a_pattern() -> None:
    """One animal is fed in a box and ill; within neither is there any difference to see.

    As if no two meals were of one animal, Fisher's test would be sure.
    """
    one = _only(pattern(_book((8, 2, 0, 0), (0, 0, 1, 9))))
    assert one.state == "nothing to compare"
    assert one.of.pooled is not None  # type: ignore[union-attr]
    assert one.of.pooled.p_two_sided < 0.01  # type: ignore[union-attr]


def test_a_change_made_for_an_outcome_is_said() -> None:
    """The first meal of each of 8 animals came back in a box; from then on none was in a box.

    Beside the eight near it that did not follow it at once each stands alone in the box; beside
    earlier ones there is nothing.
    """
    found = pattern(_in_turn(*["B" + "e" * 9] * 8))
    one = _only(found)
    assert one.p == pytest.approx((1 / 9) ** 8)
    assert one.earlier_p is None
    assert one.state == "goes together"
    assert not one.holds_beside_earlier
    assert "if something was changed after a meal came back" in " ".join(sentences(found, SETTINGS))


def test_what_earlier_meals_show_as_well_is_said() -> None:
    """The last meal of each of 4 animals was the only one in a box, and came back."""
    found = pattern(_in_turn(*["e" * 9 + "B"] * 4))
    one = _only(found)
    assert one.earlier_p == pytest.approx(1e-4)
    assert one.holds_beside_earlier
    assert "shows beside earlier meals alone as well" in " ".join(sentences(found, SETTINGS))


def test_earlier_meals_that_show_the_opposite_do_not_hold() -> None:
    """Twelve first meals in a box came back, and nine later ones elsewhere did not; for four
    animals it was the other way round, and only theirs have anything before them."""
    one = _only(pattern(_in_turn(*["B" + "e" * 9] * 12, *["b" * 9 + "E"] * 4)))
    assert one.state == "goes together"
    assert one.more_often
    assert one.earlier_p == pytest.approx(1e-4)
    assert not one.holds_beside_earlier


def test_earlier_meals_that_hardly_differ_do_not_hold() -> None:
    """One animal of five has earlier meals: 1 of 1 against 0 of 9, p 1/10."""
    one = _only(pattern(_in_turn(*["B" + "e" * 9] * 4, "e" * 9 + "B")))
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
    one = _only(pattern(meals)).of
    assert isinstance(one, YesNo)
    assert (one.with_it.count, one.with_it.of, one.without_it.of) == (1, 1, 3)
    assert one.hour_for_hour


def test_an_amount_with_readings_missing_is_not_known() -> None:
    meals = [_dosed(i, p, back=p == 25) for i, p in enumerate([5.0, 10.0, 25.0, 15.0])]
    hidden = [
        replace(one, fixed={n: replace(f, whole=False) for n, f in one.fixed.items()})
        for one in [_dosed(9, 90.0, back=False)]
    ]
    amount = pattern([*meals, *hidden]).judged[-1]
    assert amount.of.unknown == 1
    assert amount.p == pytest.approx(0.5)  # the highest of four, 2 × 1/4


def test_a_limit_that_differs_from_meal_to_meal_is_not_told() -> None:
    """Over 40 % another limit holds than over 20 %."""
    share = [_dosed(i, p, back=p > 20) for i, p in enumerate([5.0, 10.0, 25.0])]
    other = replace(share[2].fixed["prey share of body mass"], limit=40.0)
    mixed = [*share[:2], replace(share[2], fixed={other.factor: other})]
    one, several = (pattern(meals).judged[0].of for meals in (share, mixed))
    assert isinstance(one, YesNo)
    assert isinstance(several, YesNo)
    assert (one.limit, several.limit) == (20.0, None)
    assert "prey over 20 % of body mass" in " ".join(sentences(pattern(share), SETTINGS))
    assert "large prey for the animal" in " ".join(sentences(pattern(mixed), SETTINGS))


def test_the_fewest_more_meals_are_told_first() -> None:
    found = pattern(book(np.random.default_rng(2)))
    fewest, one = min(
        ((o.more_meals, o) for o in found.judged if o.more_meals is not None), key=lambda o: o[0]
    )
    assert not found.named
    assert len({o.more_meals for o in found.judged if o.more_meals is not None}) > 1
    said = next(text for text in sentences(found, SETTINGS) if text.startswith("This book cannot"))
    assert f"about {_round_up(fewest):,} more" in said
    assert said.endswith(f"{_phrase(one, SETTINGS)}.")


def test_what_is_more_different_than_chance_brings_is_told_in_full() -> None:
    """4 of 5 against 1 of 5, p 52/252: in full; 3 of 5 against 2 of 5, p 1: in a line."""
    full = sentences(pattern(_book((4, 1, 1, 4))), SETTINGS)
    brief = sentences(pattern(_book((3, 2, 2, 3))), SETTINGS)
    assert [text for text in full if "Not decided: meals with it came back more often" in text]
    assert [text for text in brief if text.startswith("- fed in a box: 3 of 5 came back")]


def test_a_difference_is_judged_by_all_that_will_count() -> None:
    """The meals asked for are those at the level that a longer book has: all that can compare."""
    alone = _only(pattern(_book((3, 1, 1, 3))))
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
        for meal in _book((3, 1, 1, 3))
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
        replace(_dosed(i, pct, back=i % 5 == 0), animal=name)
        for name, pct, first in (("Maren", 8.0, 0), ("Ombra", 12.0, 50))
        for i in range(first, first + 10)
    ]
    assert [one.state for one in pattern(meals).judged] == ["nothing to compare"] * 2


def test_what_is_not_known_is_left_out_and_counted() -> None:
    meals = [*_book((3, 1, 1, 3)), _fed(90, "animal 0", back=True, box=None)]
    one = _only(pattern(meals))
    assert one.of.unknown == 1
    assert one.p == pytest.approx(34 / 70)


@pytest.mark.parametrize("meals", [[], _book((0, 5, 0, 5)), _book((2, 0, 0, 0))])
def test_nothing_to_compare(meals: list[Fed]) -> None:
    found = pattern(meals)
    assert found.looked_at == 0
    assert not found.named
    assert sentences(found, SETTINGS)


# ---- words and JSON --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def patterns() -> list[Pattern]:
    """Books of every kind: with effect, without, tiny, empty."""
    dealt = [
        book(np.random.default_rng(1), effect=0.5, animals=5, meals=30),
        book(np.random.default_rng(2)),
        book(np.random.default_rng(3), animals=1, meals=8),
        _book((5, 0, 0, 5), (4, 1, 0, 5)),
        _book((3, 1, 1, 3)),
        [],
    ]
    return [pattern(meals, Left(2, 1)) for meals in dealt]


def test_never_why(patterns: list[Pattern]) -> None:
    texts = [text for found in patterns for text in sentences(found, SETTINGS)]
    texts += [json.dumps(found.as_json()) for found in patterns]
    assert not [text for text in texts if "cause" in text.casefold()]
    assert all(text == text.strip() and "nan" not in text.split() for text in texts)


def test_the_words_say_what_was_found(patterns: list[Pattern]) -> None:
    effect, *_, named, undecided, empty = (" ".join(sentences(f, SETTINGS)) for f in patterns)
    assert "A cold spell of 6 h or longer: " in effect
    assert "Every 10 °C·h more multiplies the odds of coming back by about" in effect
    assert "Fed in a box: 9 of 10 came back (90 %; 60 to 98 %)" in named
    assert "They go together: meals with it came back more often" in named
    assert "cannot decide" not in named
    assert "This book cannot decide" in undecided
    assert "about 36 more would decide the first thing: fed in a box" in undecided
    assert "2 meals with no outcome yet and 1 offer refused or not taken" in undecided
    assert empty.startswith("No meal in the book has an outcome yet")


def test_what_matters_comes_first(patterns: list[Pattern]) -> None:
    for found in patterns:
        said = sentences(found, SETTINGS)
        if found.named:
            assert [("They go together" in text) for text in said[2 : 2 + len(found.named)]] == [
                True
            ] * len(found.named)
        elif found.meals:
            assert said[2].startswith("This book cannot decide")


def test_every_condition_is_told_once_with_its_count(patterns: list[Pattern]) -> None:
    """What was compared has its n; all that was not is in one paragraph."""
    for found in patterns:
        said = sentences(found, SETTINGS)
        told = [text for text in said if " came back" in text and ": " in text]
        told = [t for t in told if not t.startswith(("How to", "Nothing to", "Too few", "Not dec"))]
        assert len(told) == found.looked_at + bool(found.meals)


def test_in_fahrenheit(patterns: list[Pattern]) -> None:
    fahrenheit = Settings(time_zone="UTC", show=Show(temperature="degF"))
    celsius, said = (" ".join(sentences(patterns[0], one)) for one in (SETTINGS, fahrenheit))
    assert "below 25 °C in the first 72 h" in celsius
    assert "below 77 °F in the first 72 h" in said
    assert "°C" not in said
    (dose,) = (one.of for one in patterns[0].judged if one.of.condition.startswith("degree-hours"))
    assert isinstance(dose, Amount)
    assert dose.mean_back is not None
    assert dose.response is not None
    assert f"on average {dose.mean_back * 1.8:.1f} °F·h" in said
    times, *_ = dose.response.odds_times(20 / 1.8)
    assert f"Every 20 °F·h more multiplies the odds of coming back by about {times:.2g}" in said


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (1.0, "every time"),
        (0.5, "1 in 2"),
        (1 / 3, "1 in 3"),
        (0.25, "1 in 4"),
        (0.0501, "1 in 19"),
        (0.05, "1 in 20"),
        (1e-4, "1 in 10,000"),
        (0.0, "fewer than 1 in a million"),
    ],
)
def test_a_chance_is_never_told_rarer_than_it_is(p: float, said: str) -> None:
    assert _odds(p) == said


def test_json_is_json(patterns: list[Pattern]) -> None:
    """RFC 8259 has no infinity: an end that is not there is null."""
    for found in patterns:
        text = json.dumps(found.as_json(), allow_nan=False)
        back = json.loads(text)
        assert back["named"] == [one.of.condition for one in found.named]
        assert len(back["conditions"]) == len(found.judged)
