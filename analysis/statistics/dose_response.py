"""How the odds of a meal coming back change with a dose, such as degree-hours below the floor.

Ordinary logistic regression breaks on small books: one clean split and its answer is infinite.
Firth's penalty keeps it finite and less biased; the interval is the profile of the penalised
likelihood, since the usual symmetric one is wrong here.

Sources: Firth 1993, Biometrika 80:27; Heinze & Schemper 2002, Stat. Med. 21:2409.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite

import numpy as np
from numpy.typing import NDArray

from analysis.statistics.extra import needed

Floats = NDArray[np.float64]

_TOLERANCES = (1e-8, 1e-6, 1e-5)
"""Of the standardised dose. The sharpest is under the rounding of the likelihood of some books."""


@dataclass(frozen=True, slots=True)
class DoseResponse:
    """Change of the log odds of coming back with one unit of the dose."""

    log_odds_per_unit: float
    low: float | None
    """None where the profile has no such end, or none was found."""
    high: float | None
    meals: int
    groups: int
    """Groups that could say something: both outcomes among their meals, and more than one dose."""

    def odds_times(self, units: float) -> tuple[float, float | None, float | None]:
        """By what the odds are multiplied for `units` more of the dose, with its interval."""
        ends = (self.low, self.high)
        low, high = (None if end is None else exp(end * units) for end in ends)
        return exp(self.log_odds_per_unit * units), low, high


def firth(
    dose: Sequence[float],
    came_back: Sequence[bool],
    group: Sequence[str],
    confidence: float = 0.95,
) -> DoseResponse | None:
    """Firth's logistic regression of the outcome on the dose, each group with its own level.

    A group is an animal, or a stretch of its meals. Groups all of whose meals ended alike, or had
    the same dose, say nothing about it and are left out, as in a conditional likelihood. None where
    none is left, or where the fit does not settle. Needs firthmodels: raises NotSo where it is
    missing.
    """
    kept = _telling(dose, came_back, group)
    if not kept:
        return None
    x = np.array([dose[i] for i in kept], dtype=np.float64)
    y = np.array([came_back[i] for i in kept], dtype=np.int64)
    groups = sorted({group[i] for i in kept})
    spread = float(x.std())
    levels = [[float(group[i] == name) for name in groups[1:]] for i in kept]
    design = np.column_stack([(x - x.mean()) / spread, np.array(levels).reshape(len(kept), -1)])
    fitted = _fit(design, y, confidence)
    if fitted is None:
        return None
    estimate, low, high = fitted
    return DoseResponse(
        log_odds_per_unit=estimate / spread,
        low=low / spread if isfinite(low) else None,
        high=high / spread if isfinite(high) else None,
        meals=len(kept),
        groups=len(groups),
    )


def _telling(dose: Sequence[float], came_back: Sequence[bool], group: Sequence[str]) -> list[int]:
    ends: dict[str, set[bool]] = {}
    doses: dict[str, set[float]] = {}
    for name, back, amount in zip(group, came_back, dose, strict=True):
        ends.setdefault(name, set()).add(back)
        doses.setdefault(name, set()).add(amount)
    return [i for i, name in enumerate(group) if len(ends[name]) == 2 and len(doses[name]) > 1]


def _fit(design: Floats, y: NDArray[np.int64], confidence: float) -> tuple[float, ...] | None:
    """Estimate and ends, as sharply as they settle; an end is nan where it does not settle."""
    best = None
    for tolerance in _TOLERANCES:
        found = _fit_within(tolerance, design, y, confidence)
        if found is not None and all(map(isfinite, found)):
            return found
        best = best or found
    return best


def _fit_within(
    tolerance: float, design: Floats, y: NDArray[np.int64], confidence: float
) -> tuple[float, ...] | None:
    library = needed("firthmodels")
    model = library.FirthLogisticRegression(
        backend="numpy", max_iter=200, gtol=tolerance, xtol=tolerance
    )
    with warnings.catch_warnings():
        # What the library warns of (a fit or a profile that did not settle) is looked at below.
        warnings.simplefilter("ignore")
        try:
            model.fit(design, y)
            ends = model.conf_int(
                alpha=1 - confidence, method="pl", features=0, max_iter=200, tol=tolerance
            )
        except np.linalg.LinAlgError:  # doses so near each other that they cannot be told apart
            return None
    if not model.converged_:
        return None
    return float(model.coef_[0]), float(ends[0, 0]), float(ends[0, 1])
