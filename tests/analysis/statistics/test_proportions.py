"""Wilson's interval against published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from analysis.statistics.proportions import Share, wilson


@pytest.mark.parametrize(
    ("counted", "confidence", "ends", "within"),
    [
        # NIST/SEMATECH e-Handbook 7.2.4.2, 4 defectives of 20 at 90 %.
        ((4, 20), 0.90, (0.0931180, 0.3783767), 5e-8),
        # Newcombe 1998, Stat. Med. 17:857, table I, method 3 (from memory; computed agrees).
        ((1, 29), 0.95, (0.0061, 0.1718), 5e-5),
        ((0, 20), 0.95, (0.0000, 0.1611), 5e-5),
        ((15, 148), 0.95, (0.0624, 0.1605), 5e-5),
        ((81, 263), 0.95, (0.2553, 0.3662), 5e-5),
        # R's binom.confint, as shipped in statsmodels' tests (results_proportion.py).
        ((18, 20), 0.95, (0.6989663547715128, 0.972133518786232), 1e-9),
        ((4, 200), 0.95, (0.00780442641634947, 0.05028708690582643), 1e-9),
    ],
)
def test_published(
    counted: tuple[int, int], confidence: float, ends: tuple[float, float], within: float
) -> None:
    share = wilson(*counted, confidence)
    assert (share.low, share.high) == pytest.approx(ends, abs=within)


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_agrees_with_scipy_and_holds_the_share(numbers: tuple[int, int]) -> None:
    count, of = numbers
    share = wilson(count, of)
    assert share.low is not None
    assert share.high is not None
    reference = binomtest(count, of).proportion_ci(0.95, method="wilson")
    assert share.low == pytest.approx(reference.low, abs=1e-12)
    assert share.high == pytest.approx(reference.high, abs=1e-12)
    assert share.low <= count / of <= share.high


def test_nothing_counted_is_unknown_not_zero() -> None:
    assert wilson(0, 0) == Share(0, 0, None, None, None)


@pytest.mark.parametrize(
    ("count", "of", "confidence"), [(5, 4, 0.95), (-1, 4, 0.95), (1, 4, 0.0), (1, 4, 1.0)]
)
def test_impossible_counts_are_refused(count: int, of: int, confidence: float) -> None:
    with pytest.raises(ValueError, match=r"counted|confidence"):
        wilson(count, of, confidence)
