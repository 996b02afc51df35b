"""Correcting for how many conditions were looked at."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from analysis.statistics.multiplicity import Evidence, could_reach, holm_tarone

P = st.floats(1e-6, 1.0)


@settings(max_examples=40, deadline=None)  # the reference is slow to start
@given(st.lists(P, min_size=1, max_size=12))
def test_without_a_floor_it_is_holms_method(ps: list[float]) -> None:
    """Against statsmodels' multipletests(method="holm")."""
    named, corrected, _, _ = multipletests(ps, alpha=0.05, method="holm")
    ours = holm_tarone([Evidence(p, 0.0) for p in ps])
    assert [c.p for c in ours] == pytest.approx(list(corrected), rel=1e-12)
    assert [c.named for c in ours] == list(named)


def test_the_count_by_hand() -> None:
    """Smallest p 0.001, 0.02, 0.03, 0.3, 0.5: two of them could have come as far as 0.02."""
    smallest = [0.001, 0.02, 0.03, 0.3, 0.5]
    assert could_reach(0.02, smallest) == 2
    assert could_reach(0.0199, smallest) == 1
    ps = [0.028, 0.9, 0.04, 0.5, 1.0]
    found = holm_tarone([Evidence(p, s) for p, s in zip(ps, smallest, strict=True)])
    assert [c.p for c in found] == pytest.approx([0.056, 1.0, 0.08, 1.0, 1.0])
    # Both 0.028 and, when that is done with, 0.04 could be reached by two that still stand.
    assert [c.counted for c in found] == [2, 2, 2, 3, 1]
    assert not any(c.named for c in found)


def test_a_count_anew_after_each_one_named() -> None:
    """0.01 of two that could reach it: 0.02; the other then stands alone, 0.04."""
    found = holm_tarone([Evidence(0.04, 0.0), Evidence(0.01, 0.0)])
    assert [c.p for c in found] == pytest.approx([0.04, 0.02])
    assert [c.counted for c in found] == [1, 2]
    assert all(c.named for c in found)


def test_one_that_stays_stops_all_after_it() -> None:
    """0.03 of two: 0.06, not named; 0.04 alone would be, and is not."""
    first, second = holm_tarone([Evidence(0.03, 0.0), Evidence(0.04, 0.0)])
    assert [first.p, second.p] == pytest.approx([0.06, 0.06])
    assert not first.named
    assert not second.named


def test_the_best_there_could_be_is_counted_beside_all_not_named() -> None:
    named, open_still, other = holm_tarone(
        [Evidence(0.001, 0.0), Evidence(0.9, 0.02), Evidence(0.5, 0.01)]
    )
    assert named.named
    assert open_still.smallest_p == pytest.approx(0.04)
    assert other.smallest_p == pytest.approx(0.01)


@given(st.lists(st.integers(2, 400), min_size=1, max_size=15))
def test_no_dependence_can_bring_more_false_names(steps: list[int]) -> None:
    """p in even steps of 1/n, all nulls true: the sum of the chances of each being named alone.

    By Boole's inequality no way in which the tests hang together can bring more.
    """
    smallest = [1 / n for n in steps]
    chance = 0.0
    for n in steps:
        alone = [i for i in range(1, n + 1) if i / n * could_reach(i / n, smallest) <= 0.05]
        chance += len(alone) / n
    assert chance <= 0.05 + 1e-12


def test_a_condition_that_could_not_show_anything_costs_nothing() -> None:
    real = Evidence(0.03, 0.001)
    hopeless = Evidence(0.9, 0.4)
    alone = holm_tarone([real])[0]
    among = holm_tarone([real, *[hopeless] * 10])[0]
    assert alone == among
    assert among.named
    assert among.counted == 1


@given(st.lists(st.tuples(P, st.floats(0, 1)), max_size=10))
def test_never_below_p_never_above_holm(pairs: list[tuple[float, float]]) -> None:
    tests = [Evidence(p, p * share) for p, share in pairs]
    ours = holm_tarone(tests)
    holm = holm_tarone([Evidence(t.p, 0.0) for t in tests])
    for test, mine, theirs in zip(tests, ours, holm, strict=True):
        assert test.p <= mine.p <= theirs.p + 1e-12
        assert mine.named == (mine.p <= 0.05) or not mine.named


def test_false_names_stay_under_the_level() -> None:
    """2,000 draws of 12 true nulls whose p can only take a few values each (seeded)."""
    rng = np.random.default_rng(20)
    steps = rng.integers(3, 200, size=12)
    wrong = 0
    for _ in range(2_000):
        tests = [
            Evidence(p=float(np.ceil(rng.random() * n) / n), smallest_p=float(1 / n)) for n in steps
        ]
        wrong += any(c.named for c in holm_tarone(tests))
    assert wrong / 2_000 <= 0.05 + 3 * (0.05 * 0.95 / 2_000) ** 0.5
