"""Dealing outcomes out again within each animal: against scipy and against counting."""

from __future__ import annotations

from itertools import combinations, product

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu, rankdata

from analysis.statistics.chances import Group, chances_of

SCORED = st.lists(st.tuples(st.integers(0, 6), st.booleans()), min_size=2, max_size=6)


@given(st.lists(SCORED, min_size=1, max_size=3))
def test_all_deals_are_counted(animals: list[list[tuple[int, bool]]]) -> None:
    groups = [Group([s for s, _ in a], [b for _, b in a]) for a in animals]
    chances = chances_of(groups)
    telling = [g for g in groups if g.informative]
    assume(telling)
    assert chances is not None
    deals = product(*(combinations(g.scores, sum(g.came_back)) for g in telling))
    sums = [sum(map(sum, picks)) for picks in deals]
    seen = chances.seen
    assert chances.chance.sum() == pytest.approx(1.0, abs=1e-12)
    assert chances.at_least == pytest.approx(sum(s >= seen for s in sums) / len(sums), abs=1e-12)
    assert chances.at_most == pytest.approx(sum(s <= seen for s in sums) / len(sums), abs=1e-12)
    assert chances.mean == pytest.approx(sum(sums) / len(sums), rel=1e-9, abs=1e-9)
    assert chances.doubled <= 1.0
    assert chances.smallest_doubled <= chances.doubled + 1e-12


def test_ranks_in_one_group_are_wilcoxons_test() -> None:
    """Against scipy's exact Mann-Whitney test (no ties)."""
    came, stayed = [9.1, 7.4, 8.8], [1.2, 3.3, 2.5, 8.0, 0.4, 6.1]
    dose = came + stayed
    ranks = [int(r) for r in rankdata(dose)]
    chances = chances_of([Group(ranks, [True] * 3 + [False] * 6)])
    assert chances is not None
    reference = mannwhitneyu(came, stayed, alternative="two-sided", method="exact").pvalue
    assert chances.doubled == pytest.approx(reference, rel=1e-12)


def test_many_meals_do_not_overflow() -> None:
    groups = [Group(list(range(400)), [i % 20 == 7 for i in range(400)]) for _ in range(3)]
    chances = chances_of(groups)
    assert chances is not None
    assert chances.chance.sum() == pytest.approx(1.0, abs=1e-9)
    assert 0 < chances.doubled <= 1


def test_what_is_too_unlikely_for_floating_point_is_not_lost() -> None:
    """500 times five against five, clean: (1/252)^500 is no number any more."""
    clean = Group([1] * 5 + [0] * 5, [True] * 5 + [False] * 5)
    chances = chances_of([clean] * 500)
    assert chances is not None
    assert chances.two_sided == chances.at_least == 0.0
    assert chances.at_most == pytest.approx(1.0)
    assert chances.away == pytest.approx(1_250.0)
    other = chances_of([Group([0] * 5 + [1] * 5, [True] * 5 + [False] * 5)] * 500)
    assert other is not None
    assert other.at_most == 0.0
    assert other.away == pytest.approx(-1_250.0)


@given(st.integers(1, 12), st.integers(1, 9))
def test_the_expected_sum_is_not_away(groups: int, each: int) -> None:
    """One of 3 came back, the one with the middle score: exactly as expected, whatever rounding."""
    chances = chances_of([Group([0, each, 2 * each], [False, True, False])] * groups)
    assert chances is not None
    assert chances.away == 0.0


def test_mid_p_in_two_groups_by_hand() -> None:
    """Twice 1 of 1 against 0 of 2: sums 0, 1, 2 in 4, 4, 1 of 9 deals; 2 was seen."""
    chances = chances_of([Group([1, 0, 0], [True, False, False])] * 2)
    assert chances is not None
    assert chances.two_sided == pytest.approx(1 / 9)
    assert chances.mid_two_sided == pytest.approx(1 / 18)
    assert chances.mid_at_least == pytest.approx(1 / 18)
    assert chances.smallest == pytest.approx(1 / 9)
    assert chances.smallest_doubled == pytest.approx(2 / 9)


def test_a_score_and_an_outcome_for_each_meal() -> None:
    with pytest.raises(ValueError, match="one score and one outcome"):
        Group([1, 2], [True])


def test_nothing_to_deal() -> None:
    assert chances_of([]) is None
    assert chances_of([Group([1, 1, 1], [True, False, False])]) is None
    assert chances_of([Group([1, 2, 3], [False, False, False])]) is None
