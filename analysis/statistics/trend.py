"""A trend that one odd value cannot bend: the middle one of all slopes between two points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Slope:
    """Change of y with one unit of x; the interval is None where the points are too few for it."""

    slope: float
    low: float | None
    high: float | None
    points: int


def theil_sen(x: Sequence[float], y: Sequence[float], confidence: float = 0.95) -> Slope | None:
    """The median of the slopes between all pairs, with its exact distribution-free interval.

    Points with the same x are taken as one, at the mean of their y. None with fewer than two
    points apart. The interval counts pairs by the exact distribution of Kendall's statistic, and
    holds at least `confidence`; with fewer than 5 points there is none at 95 %.

    Source: Theil 1950, Proc. K. Ned. Akad. Wet. 53:386; Sen 1968, J. Am. Stat. Assoc. 63:1379.
    """
    places, values = _one_a_place(x, y)
    if len(places) < 2:
        return None
    first, second = np.triu_indices(len(places), k=1)
    slopes = np.sort((values[second] - values[first]) / (places[second] - places[first]))
    rank = _rank(len(places), (1 - confidence) / 2)
    return Slope(
        slope=float(np.median(slopes)),
        low=float(slopes[rank - 1]) if rank else None,
        high=float(slopes[-rank]) if rank else None,
        points=len(places),
    )


def _one_a_place(x: Sequence[float], y: Sequence[float]) -> tuple[Floats, Floats]:
    if len(x) != len(y):
        raise ValueError("each x has one y")
    places, index = np.unique(np.asarray(x, dtype=np.float64), return_inverse=True)
    total = np.bincount(index, weights=np.asarray(y, dtype=np.float64), minlength=len(places))
    return places, total / np.bincount(index, minlength=len(places))


def _rank(points: int, tail: float) -> int:
    """From which slope, counted from either end, the interval runs; 0 where none is sure enough."""
    below = np.cumsum(_discordant(points))
    return int(np.searchsorted(below, tail * (1 + 1e-9), side="right"))


def _discordant(points: int) -> Floats:
    """Chance of each number of discordant pairs among `points` without any trend."""
    chance = np.ones(1)
    for count in range(2, points + 1):
        chance = np.convolve(chance, np.full(count, 1.0 / count))
    return chance
