"""Correcting for how many conditions were looked at."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from analysis.statistics.multiplicity import Evidence, could_show, holm_tarone

P = st.floats(1e-6, 1.0)


@settings(max_examples=40, deadline=None)  # the reference is slow to start
@given(st.lists(P, min_size=1, max_size=12))
def test_without_a_floor_it_is_holms_method(ps: list[float]) -> None:
    """Against statsmodels' multipletests(method="holm")."""
    named, corrected, _, _ = multipletests(ps, alpha=0.05, method="holm")
    ours = holm_tarone([Evidence(p, 0.0) for p in ps])
    assert [c.p for c in ours] == pytest.approx(list(corrected), rel=1e-12)
    assert [c.named for c in ours] == list(named)


def test_tarones_count_by_hand() -> None:
    """Level 0.05 and smallest p 0.001, 0.02, 0.03, 0.3, 0.5.

    k = 1: three could reach 0.05, more than 1. k = 2: 0.025 is in reach of two, no more than 2.
    """
    assert could_show([0.001, 0.02, 0.03, 0.3, 0.5]) == 2


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
