"""Fisher's exact test, its form by animal and Cochran-Mantel-Haenszel against published tables."""

from __future__ import annotations

import importlib
from itertools import product
from math import comb, inf

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import fisher_exact
from scipy.stats.contingency import odds_ratio

from analysis.statistics.tables import Table, cochran_mantel_haenszel, exact_by_group, fisher
from config.errors import NotSo

RABBITS = [
    Table(0, 6, 0, 5),
    Table(3, 3, 0, 6),
    Table(6, 0, 2, 4),
    Table(5, 1, 6, 0),
    Table(2, 0, 5, 0),
]
"""Agresti 1990, pp. 231-237, as R ships it: cured or died, penicillin at once or after 1.5 h."""

# The University of California at Berkeley's admissions of 1973, by department: men admitted and
# rejected, women admitted and rejected (Bickel, Hammel & O'Connell 1975, Science 187:398; as R
# ships it, from memory).
BERKELEY = [
    Table(512, 313, 89, 19),
    Table(353, 207, 17, 8),
    Table(120, 205, 202, 391),
    Table(138, 279, 131, 244),
    Table(53, 138, 94, 299),
    Table(22, 351, 24, 317),
]


class TestFisher:
    def test_the_lady_tasting_tea(self) -> None:
        """Fisher 1935; interval and odds ratio computed with scipy."""
        tea = fisher(Table(3, 1, 1, 3))
        assert tea is not None
        assert tea.p_more == pytest.approx(17 / 70, abs=1e-12)
        assert tea.p_two_sided == pytest.approx(34 / 70, abs=1e-12)
        assert tea.mid_p_more == pytest.approx(9 / 70, abs=1e-12)
        assert tea.mid_p_two_sided == pytest.approx(18 / 70, abs=1e-12)
        assert tea.odds_ratio == pytest.approx(6.40832, abs=5e-6)
        assert tea.odds_ratio_low == pytest.approx(0.21174, abs=5e-6)
        assert tea.odds_ratio_high == pytest.approx(626.24, abs=5e-3)
        # Only all four right, or all four wrong, is rarer than what was seen.
        assert tea.smallest_p == pytest.approx(2 / 70, abs=1e-12)

    def test_convicted_twins(self) -> None:
        """R's help page of fisher.test, "Convictions" (Fisher 1970, p. 47): p, ratio, interval.

        R's intervals are good to about 3 digits (scipy's own tests say the same).
        """
        twins = fisher(Table(2, 15, 10, 3))
        assert twins is not None
        assert twins.p_two_sided == pytest.approx(0.0005367, abs=5e-8)
        assert twins.odds_ratio == pytest.approx(0.04693661, rel=1e-4)
        assert twins.odds_ratio_low == pytest.approx(0.003325764, rel=1e-2)
        assert twins.odds_ratio_high == pytest.approx(0.363182271, rel=1e-2)

    def test_an_empty_margin_says_nothing(self) -> None:
        assert fisher(Table(0, 0, 3, 4)) is None
        assert fisher(Table(0, 5, 0, 4)) is None

    def test_at_the_ends(self) -> None:
        every = fisher(Table(5, 0, 0, 4))
        none = fisher(Table(0, 5, 4, 0))
        assert every is not None
        assert none is not None
        assert (every.odds_ratio, every.odds_ratio_high) == (inf, inf)
        assert every.odds_ratio_low > 1
        assert (none.odds_ratio, none.odds_ratio_low) == (0.0, 0.0)
        assert none.odds_ratio_high < 1

    @given(st.tuples(*[st.integers(0, 25)] * 4))
    def test_agrees_with_scipy(self, cells: tuple[int, int, int, int]) -> None:
        table = Table(*cells)
        assume(table.informative)
        ours = fisher(table)
        assert ours is not None
        rows = [[cells[0], cells[1]], [cells[2], cells[3]]]
        assert ours.p_two_sided == pytest.approx(fisher_exact(rows).pvalue, rel=1e-9)
        more, fewer = (fisher_exact(rows, alternative=side).pvalue for side in ("greater", "less"))
        assert ours.p_more == pytest.approx(more, rel=1e-9)
        assert ours.p_fewer == pytest.approx(fewer, rel=1e-9)
        reference = odds_ratio(rows)
        interval = reference.confidence_interval(0.95)
        assert ours.odds_ratio == pytest.approx(reference.statistic, rel=1e-6)
        assert ours.odds_ratio_low == pytest.approx(interval.low, rel=1e-6)
        assert ours.odds_ratio_high == pytest.approx(interval.high, rel=1e-6)
        assert 0 < ours.smallest_p <= ours.p_two_sided * (1 + 1e-9)

    def test_counts_below_zero_are_refused(self) -> None:
        with pytest.raises(ValueError, match="below zero"):
            Table(-1, 2, 3, 4)


class TestByAnimal:
    def test_rabbits_exactly(self) -> None:
        """R: mantelhaen.test(Rabbits, exact = TRUE), two-sided and greater."""
        exact = exact_by_group(RABBITS)
        assert exact is not None
        assert exact.p_two_sided == pytest.approx(0.0399449, abs=5e-8)
        assert exact.odds_ratio == pytest.approx(10.36102, rel=1e-5)
        assert exact.p_more == pytest.approx(0.020, abs=5e-4)

    def test_rabbits_in_the_large(self) -> None:
        """R: mantelhaen.test(Rabbits); the interval as in statsmodels' own tests."""
        common = cochran_mantel_haenszel(RABBITS)
        assert common is not None
        assert common.odds_ratio == pytest.approx(7.0, abs=1e-12)
        assert common.chi_squared == pytest.approx(3.928571, abs=5e-7)
        assert common.p == pytest.approx(0.0474723, abs=5e-8)
        assert common.odds_ratio_low == pytest.approx(1.026713, abs=5e-7)
        assert common.odds_ratio_high == pytest.approx(47.725133, abs=5e-6)
        assert common.groups == 3

    def test_berkeley(self) -> None:
        """R: mantelhaen.test(UCBAdmissions): ratio 0.9046968, χ² 1.4269, p 0.2323 (from memory)."""
        common = cochran_mantel_haenszel(BERKELEY)
        assert common is not None
        assert common.odds_ratio == pytest.approx(0.9046968, abs=5e-8)
        assert common.chi_squared == pytest.approx(1.4269, abs=5e-5)
        assert common.p == pytest.approx(0.2323, abs=5e-5)

    @given(st.lists(st.tuples(*[st.integers(0, 4)] * 4), min_size=1, max_size=3))
    def test_exact_is_the_count_of_all_deals(self, cells: list[tuple[int, int, int, int]]) -> None:
        """Against counting every table with the same margins, with whole numbers."""
        tables = [Table(*c) for c in cells]
        telling = [t for t in tables if t.informative]
        assume(telling)
        exact = exact_by_group(tables)
        assert exact is not None
        ways: dict[int, int] = {}
        for picks in product(*(_first_cells(t) for t in telling)):
            weight = 1
            for table, first in zip(telling, picks, strict=True):
                weight *= _ways(table, first)
            ways[sum(picks)] = ways.get(sum(picks), 0) + weight
        seen, total = sum(t.with_back for t in telling), sum(ways.values())
        no_likelier = sum(w for w in ways.values() if w <= ways[seen])
        rarest = min(ways.values())
        assert exact.p_two_sided == pytest.approx(no_likelier / total, rel=1e-9)
        assert exact.p_more == pytest.approx(
            sum(w for s, w in ways.items() if s >= seen) / total, rel=1e-9
        )
        assert exact.smallest_p == pytest.approx(
            sum(w for w in ways.values() if w == rarest) / total, rel=1e-9
        )

    def test_no_animal_that_could_tell(self) -> None:
        tables = [Table(0, 9, 0, 3), Table(2, 0, 0, 0)]
        assert exact_by_group(tables) is None
        assert cochran_mantel_haenszel(tables) is None

    def test_an_endless_ratio_has_no_interval(self) -> None:
        common = cochran_mantel_haenszel([Table(3, 0, 0, 5), Table(2, 0, 1, 4)])
        assert common is not None
        assert common.odds_ratio == inf
        assert common.odds_ratio_low is None
        assert common.odds_ratio_high is None

    def test_a_difference_under_one_half_is_not_corrected(self) -> None:
        """As in R: corrected, χ² would grow again as the difference shrinks to nothing."""
        common = cochran_mantel_haenszel([Table(2, 2, 2, 2)])
        assert common is not None
        assert common.chi_squared == pytest.approx(0.0, abs=1e-12)
        assert common.p == pytest.approx(1.0, abs=1e-12)


def test_a_missing_library_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.import_module

    def without(name: str, package: str | None = None) -> object:
        if name.startswith("statsmodels"):
            raise ModuleNotFoundError("No module named 'statsmodels'", name="statsmodels")
        return real(name, package)

    monkeypatch.setattr("analysis.statistics.extra.import_module", without)
    with pytest.raises(NotSo, match=r"needs statsmodels.*warmcoil\[statistics\]") as caught:
        cochran_mantel_haenszel(RABBITS)
    assert "\n" not in str(caught.value)


def _first_cells(table: Table) -> range:
    a, b, c, d = table.cells
    return range(max(0, (a + c) - (c + d)), min(a + b, a + c) + 1)


def _ways(table: Table, first: int) -> int:
    a, b, c, d = table.cells
    return comb(a + b, first) * comb(c + d, a + c - first)
