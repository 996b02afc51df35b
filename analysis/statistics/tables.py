"""Two-by-two tables: Fisher's exact test, its form by animal, and Cochran-Mantel-Haenszel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

import numpy as np

from analysis.statistics.chances import Chances, Group, chances_of
from analysis.statistics.extra import needed


@dataclass(frozen=True, slots=True)
class Table:
    """Meals with a condition and without it, each split into came back and stayed down."""

    with_back: int
    with_stayed: int
    without_back: int
    without_stayed: int

    def __post_init__(self) -> None:
        if min(self.cells) < 0:
            raise ValueError(f"no cell of a table is below zero: {self.cells}")

    @property
    def cells(self) -> tuple[int, int, int, int]:
        """The four counts in the order of the fields."""
        return (self.with_back, self.with_stayed, self.without_back, self.without_stayed)

    @property
    def count(self) -> int:
        """All meals in it."""
        return sum(self.cells)

    @property
    def informative(self) -> bool:
        """True when it has meals with and without the condition, and both outcomes."""
        a, b, c, d = self.cells
        return min(a + b, c + d, a + c, b + d) > 0

    def group(self) -> Group:
        """Its meals one by one: score 1 with the condition, 0 without."""
        a, b, c, d = self.cells
        return Group(
            scores=[1] * (a + b) + [0] * (c + d),
            came_back=[True] * a + [False] * b + [True] * c + [False] * d,
        )


@dataclass(frozen=True, slots=True)
class Exact:
    """What an exact test says of one table, or of several taken together."""

    p_more: float
    """One-sided: as many came back with the condition as seen, or more."""
    p_fewer: float
    p_two_sided: float
    mid_p_more: float
    mid_p_two_sided: float
    smallest_p: float
    """The smallest two-sided p that these numbers could have given at all."""
    odds_ratio: float
    """Conditional estimate; infinite or 0 at the ends."""
    odds_ratio_low: float
    odds_ratio_high: float


def fisher(table: Table, confidence: float = 0.95) -> Exact | None:
    """Fisher's exact test of one table; None where a margin is empty and nothing can be said.

    The two-sided p adds all tables no likelier than the seen one; the odds ratio is the
    conditional one with its exact interval (Fisher 1935; Cornfield 1956).
    """
    return exact_by_group([table], confidence)


def exact_by_group(tables: Sequence[Table], confidence: float = 0.95) -> Exact | None:
    """The exact conditional test of several tables, one an animal; None where none can tell.

    What R's mantelhaen.test calls the exact conditional test of independence in 2 × 2 × k tables.
    """
    chances = chances_of([table.group() for table in tables])
    return None if chances is None else exact_of(chances, confidence)


def exact_of(chances: Chances, confidence: float = 0.95) -> Exact:
    """The same from the chances of such tables, where they are at hand."""
    low, high = chances.odds_ratio_interval(confidence)
    return Exact(
        p_more=chances.at_least,
        p_fewer=chances.at_most,
        p_two_sided=chances.two_sided,
        mid_p_more=chances.mid_at_least,
        mid_p_two_sided=chances.mid_two_sided,
        smallest_p=chances.smallest,
        odds_ratio=chances.odds_ratio(),
        odds_ratio_low=low,
        odds_ratio_high=high,
    )


@dataclass(frozen=True, slots=True)
class CommonOdds:
    """Cochran-Mantel-Haenszel over several tables."""

    chi_squared: float
    p: float
    odds_ratio: float
    """Mantel and Haenszel's common odds ratio; infinite or 0 where a sum is empty."""
    odds_ratio_low: float | None
    """Its interval (Robins, Breslow & Greenland 1986); None where the ratio is 0 or infinite."""
    odds_ratio_high: float | None
    groups: int
    """Animals that could say something: with and without the condition, and both outcomes."""


def cochran_mantel_haenszel(tables: Sequence[Table], confidence: float = 0.95) -> CommonOdds | None:
    """Compare within each animal and add up; None where no animal can tell.

    Large-sample χ² with 1 degree of freedom; continuity-corrected by ½ unless the sums differ by
    less (as R's mantelhaen.test). Needs statsmodels: raises NotSo where it is missing.

    Source: Cochran 1954, Biometrics 10:417; Mantel & Haenszel 1959, J. Natl Cancer Inst. 22:719.
    """
    telling = [table for table in tables if table.informative]
    if not telling:
        return None
    module = needed("statsmodels.stats.contingency_tables")
    strata = module.StratifiedTable(
        [
            np.array([[t.with_back, t.with_stayed], [t.without_back, t.without_stayed]], float)
            for t in telling
        ],
        shift_zeros=False,
    )
    tested = strata.test_null_odds(correction=_off_by(telling) >= 0.5)
    ratio = _pooled_ratio(telling)
    low = high = None
    if 0 < ratio < inf:
        low, high = (float(x) for x in strata.oddsratio_pooled_confint(alpha=1 - confidence))
    return CommonOdds(
        chi_squared=float(tested.statistic),
        p=float(tested.pvalue),
        odds_ratio=ratio,
        odds_ratio_low=low if low is not None and isfinite(low) else None,
        odds_ratio_high=high if high is not None and isfinite(high) else None,
        groups=len(telling),
    )


def _off_by(tables: Sequence[Table]) -> float:
    """How far the came-back meals with the condition are from their expected number."""
    off = 0.0
    for table in tables:
        a, b, c, _ = table.cells
        off += a - (a + b) * (a + c) / table.count
    return abs(off)


def _pooled_ratio(tables: Sequence[Table]) -> float:
    up = sum(t.with_back * t.without_stayed / t.count for t in tables)
    down = sum(t.with_stayed * t.without_back / t.count for t in tables)
    return up / down if down > 0 else inf
