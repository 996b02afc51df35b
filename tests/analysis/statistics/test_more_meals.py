"""How many more meals would decide: by hand, and against dealing such books."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.chances import chances_of
from analysis.statistics.more_meals import more_meals
from analysis.statistics.tables import Table, exact_by_group


def test_by_hand() -> None:
    """Table 2 of 10 against 2 of 30, level 0.05, power 0.8.

    D = 2 − 10·4/40 = 1; V = 10·30·4·36 / (40²·39) = 0.692308; z 1.959964 and 0.841621.
    √f = (r + √(r² + 2D)) / 2D with r = 2.801585·√V = 2.331048: f = 2.5285² → 6.3533… so
    (f − 1)·40 = 214.5…, rounded up.
    """
    chances = chances_of([Table(2, 8, 2, 28).group()])
    assert chances is not None
    assert chances.mean == pytest.approx(1.0)
    assert chances.variance == pytest.approx(10 * 30 * 4 * 36 / (40**2 * 39))
    reach = (1.959964 + 0.841621) * (10 * 30 * 4 * 36 / (40**2 * 39)) ** 0.5
    root = (reach + (reach**2 + 2) ** 0.5) / 2
    assert more_meals(chances, 40, 0.5, 0.05) == int((root**2 - 1) * 40) + 1


def test_no_difference_is_never_decided() -> None:
    chances = chances_of([Table(2, 8, 4, 16).group()])
    assert chances is not None
    assert more_meals(chances, 30, 1.0, 0.05) is None


def test_what_is_too_small_for_the_formula_is_not_decided_by_it() -> None:
    """1 of 1 against 0 of 3: p 1/4; and 1 of 1 against 0 of 99, p 1/100, at a level of 1/240.

    The formula takes the second for clear; ln 240 / ln 100 = 1.190077.
    """
    rare = chances_of([Table(1, 0, 0, 99).group()])
    assert rare is not None
    assert more_meals(rare, 100, rare.two_sided, 1 / 240) == 20
    chances = chances_of([Table(1, 0, 0, 3).group()])
    assert chances is not None
    assert more_meals(chances, 4, chances.two_sided, 0.05) == 12
    # Three more such books, and the exact test is sure; one more, and it is not.
    twice, four = (exact_by_group([Table(1, 0, 0, 3)] * n) for n in (2, 4))
    assert twice is not None
    assert four is not None
    assert twice.p_two_sided > 0.05 >= four.p_two_sided


def test_a_stricter_level_needs_more() -> None:
    chances = chances_of([Table(3, 7, 2, 28).group()])
    assert chances is not None
    easy, strict = (more_meals(chances, 40, chances.two_sided, level) for level in (0.05, 0.005))
    assert easy is not None
    assert strict is not None
    assert easy < strict


@pytest.mark.parametrize("tables", [[Table(2, 8, 2, 28)], [Table(2, 6, 1, 15), Table(1, 7, 1, 20)]])
def test_that_many_meals_decide_about_four_times_in_five(tables: list[Table]) -> None:
    """300 seeded books of the size asked for, at the same shares, judged by the exact test."""
    chances = chances_of([table.group() for table in tables])
    meals = sum(table.count for table in tables)
    assert chances is not None
    more = more_meals(chances, meals, chances.two_sided, 0.05)
    assert more is not None
    longer = (meals + more) / meals
    rng = np.random.default_rng(7)
    decided = sum(_decides([_grown(table, longer, rng) for table in tables]) for _ in range(300))
    assert 0.65 <= decided / 300 <= 0.95


def _grown(table: Table, longer: float, rng: np.random.Generator) -> Table:
    a, b, c, d = table.cells
    with_it, without = round((a + b) * longer), round((c + d) * longer)
    back, other = rng.binomial(with_it, a / (a + b)), rng.binomial(without, c / (c + d))
    return Table(int(back), int(with_it - back), int(other), int(without - other))


def _decides(tables: list[Table]) -> bool:
    exact = exact_by_group(tables)
    return exact is not None and exact.p_two_sided <= 0.05
