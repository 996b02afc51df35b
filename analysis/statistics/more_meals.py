"""How many more meals would decide, if they go on like those so far."""

from __future__ import annotations

from math import ceil, log, sqrt
from statistics import NormalDist

from analysis.statistics.chances import Chances

MOST = 10_000
"""Beyond this many more meals the answer is "none that this book will ever hold"."""


def more_meals(
    chances: Chances, meals: int, p: float, level: float, power: float = 0.8
) -> int | None:
    """How many meals on top of `meals` would decide; None where no number under MOST would.

    Definition: the meals to come repeat those so far in the same proportions (the same animals,
    as many of them with the condition, the same shares of each that come back). Let the sum of
    scores over the came-back meals lie D away from what chance expects, with variance V by
    chance. In a book f times as long these are f·D and f·V. The answer is (f − 1) × meals for the
    least f at which the two-sided test at `level`, with the continuity correction that makes the
    large-sample test behave like the exact one, would succeed with probability `power`:

        f·D − ½ = (z(1 − level/2) + z(power)) · √(f·V)

    but no less than f = ln(level) / ln(p), at which the exact `p` of the book so far, as far out
    again every time it repeats itself, would have come down to the level. That is what holds where
    a book is too small for the formula.

    It is as good as the shares so far are: from a handful of meals it is a rough number, and where
    the meals differ by chance alone it means nothing.

    Source: the usual sample size from noncentrality growing with n (Lachin 1981, Control. Clin.
    Trials 2:93; from memory); the bound is our own.
    """
    away, variance = abs(chances.away), chances.variance
    normal = NormalDist()
    reach = (normal.inv_cdf(1 - level / 2) + normal.inv_cdf(power)) * sqrt(variance)
    if p >= 1 or away <= reach / sqrt(1 + MOST / meals):
        return None
    root = (reach + sqrt(reach * reach + 2 * away)) / (2 * away)
    times = max(root * root, log(level) / log(p))
    more = max(1, ceil((times - 1) * meals))
    return more if more <= MOST else None
