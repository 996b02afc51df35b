"""A pattern claims no more than a book shows: on books dealt at random, and on planted effects."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.stats import rankdata

from analysis import compared, matching
from analysis.at_risk import Fed, Left
from analysis.measured import Measured
from analysis.pattern import LEVEL, Judged, Pattern, pattern
from analysis.pattern_words import sentences
from tests.analysis.simulated_books import book

COLD = {"longest cold spell", "degree-hours below the floor"}
FIRST = 2_000
"""The first seed of the books without effect."""


def _named(of: Pattern) -> set[str]:
    return {one.of.condition for one in of.named}


def _without_effect(seeds: Sequence[int], **kept: object) -> int:
    """How many of the seeded books get a condition named."""
    return sum(bool(pattern(book(np.random.default_rng(s), **kept)).named) for s in seeds)  # type: ignore[arg-type]


def test_without_effect_it_keeps_quiet() -> None:
    """The first 16 of the campaign's books; at 5 % a third one has a chance of 4 %."""
    assert _without_effect(range(FIRST, FIRST + 16)) <= 2


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_two_hundred_books_without_effect() -> None:
    """At most 5 % of them get anything named, all conditions together."""
    assert _without_effect(range(FIRST, FIRST + 200)) / 200 <= LEVEL


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_two_hundred_books_with_bad_times_and_cold_times() -> None:
    """Times that have nothing to do with each other, each in one stretch of an animal's life."""
    seeds = range(FIRST, FIRST + 200)
    assert _without_effect(seeds, animals=6, meals=35, spells=True) / 200 <= LEVEL


def test_a_planted_effect_is_found() -> None:
    """Long cold spells bring up two meals in five: found in 8 of 8 books of 6 × 30 meals."""
    found = [
        _named(pattern(book(np.random.default_rng(s), effect=0.4, animals=6, meals=30)))
        for s in range(8)
    ]
    assert all(names & COLD for names in found)


@pytest.mark.campaign
@pytest.mark.timeout(900)
def test_a_planted_effect_is_found_and_nothing_else() -> None:
    """In 60 books: in at least 95 % of them the cold, in at most 5 % something unrelated."""
    found = [
        _named(pattern(book(np.random.default_rng(s), effect=0.4, animals=6, meals=30)))
        for s in range(60)
    ]
    # Hours below 25 and 22 °C are cold as well; and a meal soon after one that came back is a
    # consequence of coming back.
    beside_it = {name for names in found for name in names if not name.startswith("hours below")}
    assert sum(bool(names & COLD) for names in found) / 60 >= 0.95
    assert sum(bool(names & (beside_it - COLD)) for names in found) / 60 <= LEVEL


def test_hours_that_cannot_be_compared_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Meals as they stand, one looked at for two days and one for two weeks, would mislead."""
    seeds = range(5_000, 5_004)
    books = [book(np.random.default_rng(s), animals=8, meals=40) for s in seeds]
    every = frozenset(name for meal in books[0] for name in meal.fixed)
    right = [_named(pattern(meals)) & COLD for meals in books]
    monkeypatch.setattr(matching, "SETTLED", every)
    monkeypatch.setattr(compared, "SETTLED", every)
    as_they_stand = [_named(pattern(meals)) & COLD for meals in books]
    assert not any(right)
    assert sum(map(bool, as_they_stand)) >= 3


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
    assert sentences(found)


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
    texts = [text for found in patterns for text in sentences(found)]
    texts += [json.dumps(found.as_json()) for found in patterns]
    assert not [text for text in texts if "cause" in text.casefold()]
    assert all(text == text.strip() and "nan" not in text.split() for text in texts)


def test_the_words_say_what_was_found(patterns: list[Pattern]) -> None:
    effect, *_, named, undecided, empty = (" ".join(sentences(found)) for found in patterns)
    assert "A cold spell past its limit" in effect
    assert "°C·h more" in effect
    assert "Fed in a box: 9 of 10 came back (90 %; 95 % interval 60 to 98 %)" in named
    assert "They go together: meals with it came back more often" in named
    assert "cannot decide" not in named
    assert "This book cannot decide" in undecided
    assert "more would decide" in undecided
    assert "2 meals more have no outcome yet" in undecided
    assert empty.startswith("No meal in the book has an outcome yet")


def test_json_is_json(patterns: list[Pattern]) -> None:
    """RFC 8259 has no infinity: an end that is not there is null."""
    for found in patterns:
        text = json.dumps(found.as_json(), allow_nan=False)
        back = json.loads(text)
        assert back["named"] == [one.of.condition for one in found.named]
        assert len(back["conditions"]) == len(found.judged)
