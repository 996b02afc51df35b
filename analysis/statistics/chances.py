"""Every way a book's outcomes could have fallen on its meals, within each animal, and how likely.

The outcomes of one animal's meals are dealt out again over that animal's meals in every possible
way, each as likely as the next; what is counted is the sum of a whole-number score over the meals
that came back. With scores 0 and 1 in one group this is Fisher's exact test; in several groups the
exact form of the Cochran-Mantel-Haenszel test; with ranks, Wilcoxon's rank-sum test by blocks.
It holds however few the meals are, and however much the animals differ from each other.

Sources: Fisher 1935, The Design of Experiments; Birch 1964, J. R. Stat. Soc. B 26:313 (common odds
ratio); Lehmann 1975, Nonparametrics, ch. 3 (blocks). The last two from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import reduce
from math import exp, inf

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SAME = 1e-7
"""Two chances this near each other, relatively, count as equal (as R's fisher.test has it)."""
_WIDEST_LOG_ODDS = 40.0


@dataclass(frozen=True, slots=True)
class Group:
    """One animal's meals: the score of each, and which of them came back."""

    scores: Sequence[int]
    came_back: Sequence[bool]

    def __post_init__(self) -> None:
        if len(self.scores) != len(self.came_back):
            raise ValueError("each meal has one score and one outcome")

    @property
    def informative(self) -> bool:
        """True when dealing the outcomes again could change the sum."""
        return 0 < sum(self.came_back) < len(self.came_back) and len(set(self.scores)) > 1


@dataclass(frozen=True, slots=True)
class Chances:
    """How likely each sum of scores is: `chance[i]` for the sum `lowest + i`; `seen` came true."""

    lowest: int
    chance: Floats
    seen: int

    @property
    def mean(self) -> float:
        """The sum expected by chance."""
        return float(self.chance @ self._sums())

    @property
    def variance(self) -> float:
        """Its variance by chance."""
        return float(self.chance @ (self._sums() - self.mean) ** 2)

    @property
    def away(self) -> float:
        """How far the seen sum is from the expected one; exactly 0 but for rounding is 0."""
        away = self.seen - self.mean
        return away if abs(away) > _SAME * max(1.0, abs(self.seen)) else 0.0

    @property
    def at_least(self) -> float:
        """One-sided p: a sum as large as the seen one, or larger."""
        return _capped(self.chance[self._at :].sum())

    @property
    def at_most(self) -> float:
        """One-sided p: a sum as small as the seen one, or smaller."""
        return _capped(self.chance[: self._at + 1].sum())

    @property
    def two_sided(self) -> float:
        """Two-sided p: all sums that are no likelier than the seen one."""
        return _capped(self.chance[self._no_likelier(self.chance[self._at])].sum())

    @property
    def smallest(self) -> float:
        """The smallest two-sided p that any outcome could have given with these numbers."""
        rarest = float(self.chance[self.chance > 0].min())
        return _capped(self.chance[self._no_likelier(rarest)].sum())

    @property
    def doubled(self) -> float:
        """Two-sided p as twice the smaller tail: for ranks, whose sums are unevenly spaced."""
        return _capped(2 * min(self.at_least, self.at_most))

    @property
    def smallest_doubled(self) -> float:
        """The smallest p that `doubled` could have given with these numbers."""
        return _capped(2 * float(min(self.chance[0], self.chance[-1])))

    @property
    def mid_at_least(self) -> float:
        """One-sided mid-p: the seen sum counts half (Lancaster 1961; from memory)."""
        return self.at_least - float(self.chance[self._at]) / 2

    @property
    def mid_two_sided(self) -> float:
        """Two-sided mid-p: the sums as likely as the seen one count half."""
        here = self.chance[self._at]
        as_likely = np.abs(self.chance - here) <= _SAME * here
        return self.two_sided - float(self.chance[as_likely].sum()) / 2

    def odds_ratio(self) -> float:
        """The conditional estimate of the (common) odds ratio. Only for scores of 0 and 1.

        The ratio under which the seen sum is the expected one; 0 or infinite at the ends.
        """
        if self.seen == self.lowest:
            return 0.0
        if self._at == len(self.chance) - 1:
            return inf
        return exp(
            _crossing(lambda log_odds: float(self._under(log_odds) @ self._sums()) - self.seen)
        )

    def odds_ratio_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """The exact interval of that odds ratio, each tail holding half of what is left.

        Source: Cornfield 1956; for several groups Gart 1970 (both from memory).
        """
        tail = (1 - confidence) / 2
        low, high = 0.0, inf
        if self.seen > self.lowest:
            low = exp(_crossing(lambda b: float(self._under(b)[self._at :].sum()) - tail))
        if self._at < len(self.chance) - 1:
            high = exp(_crossing(lambda b: tail - float(self._under(b)[: self._at + 1].sum())))
        return low, high

    @property
    def _at(self) -> int:
        return self.seen - self.lowest

    def _sums(self) -> Floats:
        return self.lowest + np.arange(len(self.chance), dtype=np.float64)

    def _no_likelier(self, than: float) -> NDArray[np.bool_]:
        return self.chance <= than * (1 + _SAME)

    def _under(self, log_odds: float) -> Floats:
        """The chances if a score of 1 multiplied the odds by exp(`log_odds`)."""
        with np.errstate(divide="ignore"):
            weight = np.log(self.chance) + log_odds * np.arange(len(self.chance))
        tilted: Floats = np.exp(weight - weight.max())
        tilted /= tilted.sum()
        return tilted


def chances_of(groups: Sequence[Group]) -> Chances | None:
    """All ways to deal the outcomes out again within each group; None when there is but one.

    Scores may be any whole numbers. Groups that cannot change the sum are left out of it.
    """
    telling = [group for group in groups if group.informative]
    if not telling:
        return None
    spreads = [_spread(group) for group in telling]
    seen = sum(s for g in telling for s, back in zip(g.scores, g.came_back, strict=True) if back)
    lowest = sum(lowest for lowest, _ in spreads)
    chance = reduce(np.convolve, (chance for _, chance in spreads))
    used = np.flatnonzero(chance)
    # The seen sum may be so unlikely that its chance is 0 in floating point: it is kept in reach.
    first, last = min(int(used[0]), seen - lowest), max(int(used[-1]), seen - lowest)
    return Chances(lowest + first, chance[first : last + 1], seen)


def _spread(group: Group) -> tuple[int, Floats]:
    """One group's sum, by drawing its came-back meals one after another without putting back.

    Only sums of positive terms, each at most 1: exact to rounding for any number of meals.
    """
    base = min(group.scores)
    steps = [score - base for score in group.scores]
    drawn = sum(group.came_back)
    if drawn == 1:
        return base, np.bincount(steps) / len(steps)
    most = sum(sorted(steps)[-drawn:])
    state = np.zeros((drawn + 1, most + 1))
    state[0, 0] = 1.0
    for done, step in enumerate(steps):
        left = len(steps) - done
        take = np.clip((drawn - np.arange(drawn + 1)) / left, 0.0, 1.0)[:, np.newaxis]
        taken = state * take
        state = state - taken
        state[1:, step:] += taken[:-1, : most + 1 - step]
    return base * drawn, state[drawn]


def _crossing(rising: Callable[[float], float]) -> float:
    """Where a function that rises with the log odds crosses zero, by halving."""
    low, high = -_WIDEST_LOG_ODDS, _WIDEST_LOG_ODDS
    for _ in range(80):
        middle = (low + high) / 2
        if rising(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _capped(p: float) -> float:
    return min(1.0, float(p))
