"""A cooling curve fitted to a fall, and whether it may be believed. Pure, and light.

The excess u of the warm side over the air around it loses itself at u/τ, while that air moves:
du/dt = −u/τ − dA/dt, solved exactly between points where the room runs straight (Newton's law of
cooling). Parameters: the excess at the first point in K, ln τ (τ in h), and how far the air lies
from what the room probe says in K (without a room probe: that air in °C).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analysis.cooling_fall import Fall
from analysis.cooling_limits import DEFAULT, Limits, Silence
from analysis.least_squares import Curve, Fit, Prior, fit

_LEAST_NOISE_C = 0.01
_SURE = 3.0
"""Standard deviations by which the air has to differ from the room probe's, to be another."""
_BENT_RATIO = 0.6
"""Of the mean square of successive differences to the variance: 2 for pure noise (von Neumann
1941, Ann. Math. Stat. 12:367), near 0 for a bow."""
_BENT_C = 0.05
"""A bow smaller than this bends no forecast."""
_BACK_C = 0.1
_STILL_ROOM_K = 0.3
"""A room that moves by more takes a heated warm side along: what the readings bend to is not it."""


@dataclass(frozen=True, slots=True)
class KnownTau:
    """What is known of an enclosure's time constant before: in h, and the sd of its logarithm."""

    tau_h: float
    ln_sd: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """A fall that follows a cooling curve.

    `around_c` is the air it falls towards at its newest point, `excess_k` how far it is above that
    then; `by` holds the derivatives of that excess by the parameters of `fitted`.
    """

    fall: Fall
    fitted: Fit
    tau_h: float
    around_c: float
    excess_k: float
    by: tuple[float, ...]
    rms_c: float

    @property
    def ln_tau_se(self) -> float:
        """Standard error of the logarithm of τ."""
        return self.fitted.se(1)


_NEWEST = (1.0, 2 / 3, 4 / 9)
"""The parts of a fall that are tried: its beginning may be another story, such as a heater that
came on once more before it failed."""


def cooling_of(
    fall: Fall, *, known: KnownTau | None = None, limits: Limits = DEFAULT
) -> Cooling | Silence:
    """Fit a fall, or as much of its newest part as follows a curve; or say why none is believed."""
    first: Silence | None = None
    for share in _NEWEST:
        part = fall.newest(share)
        if part.span_h < limits.least_hours or len(part.hours) < limits.least_points:
            break
        found = _whole(part, known, limits)
        if isinstance(found, Cooling):
            return found
        first = first or found
        if found not in (Silence.CURVED, Silence.NOISY, Silence.ELSEWHERE):
            break
    return first or Silence.SHORT


def _whole(fall: Fall, known: KnownTau | None, limits: Limits) -> Cooling | Silence:
    """Fit all of it.

    It is taken to fall towards the room, as far as that is known; where it evidently falls towards
    something else (a heater at half its power) in a room that stands still, and enough of it was
    seen, towards that.
    """
    if fall.room_c is None:
        return _free(fall, known, limits)
    tied = _tied(fall, known, limits)
    if tied not in (Silence.ELSEWHERE, Silence.CURVED, Silence.TOO_SLOW):
        return tied
    if max(fall.room_c) - min(fall.room_c) > _STILL_ROOM_K:
        return tied
    free = _free(Fall(fall.start_ms, fall.hours, fall.warm_c, None), known, limits)
    return free if isinstance(free, Cooling) else tied


def _tied(fall: Fall, known: KnownTau | None, limits: Limits) -> Cooling | Silence:
    assumed = [Prior(2, 0.0, limits.room_sd_c)] if limits.room_sd_c > 0 else []
    cooling = _fitted(fall, _start_tied(fall, len(assumed)), assumed, known, limits)
    if isinstance(cooling, Silence):
        return cooling
    if known is not None and _unlike(cooling, known):
        return Silence.UNLIKE
    off_k = cooling.fitted.parameters[2] if assumed else 0.0
    return Silence.ELSEWHERE if abs(off_k) > _SURE * limits.room_sd_c else _judged(cooling, limits)


def _unlike(cooling: Cooling, known: KnownTau) -> bool:
    """A heater that still gives some heat slows a fall; an open door hastens it."""
    return abs(math.log(cooling.tau_h / known.tau_h)) > _SURE * known.ln_sd


def _free(fall: Fall, known: KnownTau | None, limits: Limits) -> Cooling | Silence:
    cooling = _fitted(fall, _start_free(fall), [], known, limits)
    if isinstance(cooling, Silence):
        return cooling
    if fall.span_h < limits.least_share_of_tau * cooling.tau_h:
        return Silence.TOO_LITTLE
    return _judged(cooling, limits)


def _fitted(
    fall: Fall,
    start: Sequence[float] | None,
    assumed: Sequence[Prior],
    known: KnownTau | None,
    limits: Limits,
) -> Cooling | Silence:
    if start is None:
        return Silence.UNDETERMINED
    curve, sigma = curve_of(fall), limits.noise_c
    priors = list(assumed)
    if known is not None:
        priors.append(Prior(1, math.log(known.tau_h), known.ln_sd))
    fitted = fit(curve, fall.warm_c, start, sigma=sigma, priors=priors)
    if fitted is not None:  # once more, with the noise that was found
        sigma = max(math.sqrt(fitted.rss / fitted.freedom), _LEAST_NOISE_C)
        fitted = fit(curve, fall.warm_c, fitted.parameters, sigma=sigma, priors=priors)
    if fitted is None:
        return Silence.UNDETERMINED
    *_, (newest_c, by) = curve(fitted.parameters)
    around_c = fall.room_c[-1] if fall.room_c is not None else 0.0
    around_c += fitted.parameters[2] if len(fitted.parameters) > 2 else 0.0
    tau_h, rms_c = math.exp(fitted.parameters[1]), math.sqrt(fitted.rss / fitted.freedom)
    excess_by = (by[0], by[1], *([0.0] * (len(by) - 2)))
    return Cooling(fall, fitted, tau_h, around_c, newest_c - around_c, excess_by, rms_c)


def _judged(cooling: Cooling, limits: Limits) -> Cooling | Silence:
    if cooling.rms_c > 2 * limits.noise_c:
        return Silence.NOISY
    residuals = [
        value - expected
        for value, (expected, _) in zip(
            cooling.fall.warm_c, curve_of(cooling.fall)(cooling.fitted.parameters), strict=True
        )
    ]
    newest = residuals[-max(3, len(residuals) // 10) :]
    above_c = sum(newest) / len(newest)
    if abs(above_c) > max(_BACK_C, 4 * cooling.rms_c / math.sqrt(len(newest))):
        return Silence.HEAT_IS_BACK if above_c > 0 else Silence.CURVED
    if cooling.rms_c > _BENT_C and _evenness(residuals) < _BENT_RATIO:
        return Silence.CURVED
    if cooling.ln_tau_se > limits.most_ln_tau_se:
        return Silence.UNDETERMINED
    if cooling.tau_h < limits.least_tau_h:
        return Silence.TOO_FAST
    return Silence.TOO_SLOW if cooling.tau_h > limits.most_tau_h else cooling


def _evenness(residuals: Sequence[float]) -> float:
    mean = sum(residuals) / len(residuals)
    spread = sum((r - mean) ** 2 for r in residuals)
    steps = sum((b - a) ** 2 for a, b in pairwise(residuals))
    return steps / spread * len(residuals) / (len(residuals) - 1) if spread > 0 else 2.0


# ---- the curve ------------------------------------------------------------------------------


def curve_of(fall: Fall) -> Curve:
    """The curve at the fall's points; two parameters hold it to the room, three do not."""
    hours, room_c = fall.hours, fall.room_c or (0.0,) * len(fall.hours)

    def curve(parameters: Sequence[float]) -> Iterator[tuple[float, Sequence[float]]]:
        excess, tau = parameters[0], math.exp(parameters[1])
        off = parameters[2:3]
        by_excess, by_tau = 1.0, 0.0
        around = off[0] if off else 0.0
        tail = (1.0,) * len(off)
        yield excess + room_c[0] + around, (by_excess, by_tau, *tail)
        for i in range(1, len(hours)):
            step = hours[i] - hours[i - 1]
            left = math.exp(-step / tau)
            drift = (room_c[i] - room_c[i - 1]) / step
            by_tau = left * (by_tau + step * (excess / tau + drift)) - drift * tau * (1 - left)
            by_excess *= left
            excess = excess * left - drift * tau * (1 - left)
            yield excess + room_c[i] + around, (by_excess, by_tau, *tail)

    return curve


def _start_tied(fall: Fall, more: int) -> list[float] | None:
    if fall.room_c is None:
        return None
    first, last = fall.warm_c[0] - fall.room_c[0], fall.warm_c[-1] - fall.room_c[-1]
    if not first > last > 0:
        return None
    return [first, math.log(fall.span_h / math.log(first / last)), *([0.0] * more)]


def _start_free(fall: Fall) -> list[float] | None:
    """From the falls of the first and the second half: their ratio gives τ."""
    half = len(fall.hours) // 2
    first, second = fall.warm_c[0] - fall.warm_c[half], fall.warm_c[half] - fall.warm_c[-1]
    if first <= 0:
        return None
    ratio = min(max(second / first, 0.1), 0.95)
    around = fall.warm_c[0] - first / (1 - ratio)
    tau = (fall.hours[half] - fall.hours[0]) / -math.log(ratio)
    return [fall.warm_c[0] - around, math.log(tau), around]
