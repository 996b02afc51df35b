"""Least squares for a curve of a few parameters: pure Python, and light.

Marquardt's damped Gauss-Newton steps (Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431) with the
derivatives the curve hands over. A fit whose parameters the observations do not determine, one
that did not settle, or one that left the numbers, is none: there is no covariance to trust.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

Parameters = Sequence[float]
Curve = Callable[[Parameters], Iterable[tuple[float, Sequence[float]]]]
"""Parameters → the curve's value at each observation, with its derivative by each parameter."""
Matrix = list[list[float]]

_SETTLED = 1e-10
_LEAST_PIVOT = 1e-12
_MOST_DAMPING = 1e16


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a parameter before: its value and standard deviation."""

    parameter: int
    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class Fit:
    """A fit that settled.

    `covariance` is of the parameters; `rss` the sum of the squared residuals of the observations,
    `freedom` their number less that of the parameters that no prior holds.
    """

    parameters: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    rss: float
    freedom: int

    def se(self, parameter: int) -> float:
        """Standard error of a parameter."""
        return math.sqrt(self.covariance[parameter][parameter])

    def se_along(self, gradient: Sequence[float]) -> float:
        """Standard error of a figure of the parameters, from its derivatives by them."""
        row = [sum(c * g for c, g in zip(line, gradient, strict=True)) for line in self.covariance]
        return math.sqrt(max(sum(a * g for a, g in zip(row, gradient, strict=True)), 0.0))


@dataclass(slots=True)
class _State:
    """The sums at one set of parameters."""

    at: list[float]
    cost: float
    rss: float
    normal: Matrix
    slope: list[float]


def fit(
    curve: Curve,
    observed: Sequence[float],
    start: Parameters,
    *,
    sigma: float | None = None,
    priors: Sequence[Prior] = (),
    most_steps: int = 200,
) -> Fit | None:
    """Fit the curve to the observations from `start`; None when that cannot be done.

    `sigma` is the standard deviation of each observation; without it, it is taken from the
    residuals, and priors are weighed against observations of standard deviation 1.
    """
    free = len(start) - len({prior.parameter for prior in priors})
    freedom = len(observed) - free
    if freedom < 1:
        return None
    try:
        state = _settle(curve, observed, list(start), sigma or 1.0, priors, most_steps)
        if state is None:
            return None
        covariance = _inverse(state.normal)
    except (OverflowError, ZeroDivisionError, ValueError):
        return None  # the steps led out of the numbers
    if covariance is None:
        return None
    scale = state.rss / freedom if sigma is None else 1.0
    rows = tuple(tuple(scale * c for c in row) for row in covariance)
    if not all(math.isfinite(c) for row in rows for c in row):
        return None
    return Fit(tuple(state.at), rows, state.rss, freedom)


def student_t(quantile_of_normal: float, freedom: int) -> float:
    """The quantile of Student's t beside that of the normal distribution.

    Abramowitz & Stegun 1964, 26.7.5 (from memory); within 0.5 % from 5 degrees of freedom on.
    """
    z, n = quantile_of_normal, float(freedom)
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return z + first / n + second / n**2 + third / n**3


# ---- steps ----------------------------------------------------------------------------------


def _settle(  # noqa: PLR0917  # the parts of one fit, in the order of `fit`
    curve: Curve,
    observed: Sequence[float],
    start: list[float],
    sigma: float,
    priors: Sequence[Prior],
    most_steps: int,
) -> _State | None:
    state = _sums(curve, observed, start, sigma, priors)
    damping = 1e-3
    for _ in range(most_steps):
        step = _step(state, damping)
        if step is None:
            return None
        if _is_small(step, state.at):
            return state
        ahead = _try(curve, observed, [a + s for a, s in zip(state.at, step, strict=True)],
                     sigma, priors)  # fmt: skip
        if ahead is not None and ahead.cost <= state.cost:
            state, damping = ahead, max(damping / 10, 1e-15)
        else:
            damping *= 10
            if damping > _MOST_DAMPING:
                return None
    return None


def _try(
    curve: Curve,
    observed: Sequence[float],
    at: list[float],
    sigma: float,
    priors: Sequence[Prior],
) -> _State | None:
    try:
        state = _sums(curve, observed, at, sigma, priors)
    except (OverflowError, ZeroDivisionError, ValueError):
        return None  # a step too far: the damping grows
    return state if math.isfinite(state.cost) else None


def _sums(
    curve: Curve,
    observed: Sequence[float],
    at: list[float],
    sigma: float,
    priors: Sequence[Prior],
) -> _State:
    size = len(at)
    normal = [[0.0] * size for _ in range(size)]
    slope, rss = [0.0] * size, 0.0
    for value, (expected, by) in zip(observed, curve(at), strict=True):
        residual = value - expected
        rss += residual * residual
        for i in range(size):
            by_i = by[i]
            slope[i] += by_i * residual
            row = normal[i]
            for j in range(i + 1):
                row[j] += by_i * by[j]
    return _weighed(_State(at, rss, rss, normal, slope), sigma, priors)


def _weighed(state: _State, sigma: float, priors: Sequence[Prior]) -> _State:
    weight, size = 1.0 / (sigma * sigma), len(state.at)
    state.cost *= weight
    for i in range(size):
        state.slope[i] *= weight
        for j in range(i + 1):
            state.normal[i][j] *= weight
            state.normal[j][i] = state.normal[i][j]
    for prior in priors:
        i, share = prior.parameter, 1.0 / (prior.sd * prior.sd)
        off = prior.value - state.at[i]
        state.cost += share * off * off
        state.normal[i][i] += share
        state.slope[i] += share * off
    return state


def _step(state: _State, damping: float) -> list[float] | None:
    damped = [row[:] for row in state.normal]
    for i, row in enumerate(damped):
        if not row[i] > 0:
            return None
        row[i] *= 1.0 + damping
    return _solved(damped, state.slope)


def _is_small(step: Sequence[float], at: Sequence[float]) -> bool:
    return all(
        abs(s) <= _SETTLED * (abs(a) + 1e-3 * _SETTLED) for s, a in zip(step, at, strict=True)
    )


# ---- small symmetric matrices ---------------------------------------------------------------


def _solved(matrix: Matrix, right: Sequence[float]) -> list[float] | None:
    """Solve by Cholesky's way on the matrix scaled to a diagonal of ones; None when singular."""
    scale = [1.0 / math.sqrt(row[i]) for i, row in enumerate(matrix)]
    lower = _cholesky(
        [[a * scale[i] * scale[j] for j, a in enumerate(row)] for i, row in enumerate(matrix)]
    )
    if lower is None:
        return None
    size = len(right)
    forward: list[float] = []
    for i in range(size):
        known = sum(lower[i][k] * forward[k] for k in range(i))
        forward.append((right[i] * scale[i] - known) / lower[i][i])
    back = [0.0] * size
    for i in reversed(range(size)):
        known = sum(lower[k][i] * back[k] for k in range(i + 1, size))
        back[i] = (forward[i] - known) / lower[i][i]
    return [b * s for b, s in zip(back, scale, strict=True)]


def _cholesky(matrix: Matrix) -> Matrix | None:
    size = len(matrix)
    lower = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            if i != j:
                lower[i][j] = rest / lower[j][j]
            elif rest > _LEAST_PIVOT:
                lower[i][i] = math.sqrt(rest)
            else:
                return None
    return lower


def _inverse(matrix: Matrix) -> Matrix | None:
    size = len(matrix)
    if any(not matrix[i][i] > 0 for i in range(size)):
        return None
    columns = [_solved(matrix, [float(i == j) for i in range(size)]) for j in range(size)]
    if any(column is None for column in columns):
        return None
    return [[column[i] for column in columns if column is not None] for i in range(size)]
