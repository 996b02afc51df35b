"""A warm side that falls, and when it will pass the floor. Pure, and light.

An enclosure whose heater has failed falls towards its room as `T_room + (T0 − T_room) e^(−t/τ)`.
The forecast fits that to the fall under way, with the room probe's readings as what it falls
towards, and gives the time at which the curve passes the floor, with an interval. It says nothing
where the fit is not good enough: a thermostat's switching, an opened door and a heater that still
works are no falls.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.cooling_fall import HOUR_MS, RoomC, find_fall, usual_low_c
from analysis.cooling_fit import Cooling, KnownTau, cooling_of
from analysis.cooling_limits import DEFAULT, Limits, Silence
from analysis.least_squares import student_t

__all__ = [
    "Forecast", "KnownTau", "Limits", "Silence", "forecast", "forecast_or_why", "time_to_floor_h",
    "usual_low_c",
]  # fmt: skip

_NORMAL_90 = 1.6448536269514722
_NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the warm side will pass the floor if it goes on falling as it does.

    Times are UTC ms, the interval [earliest_ms, latest_ms] is of 90 %, that of τ of 95 %.
    `falling_since_ms` is where the fitted fall begins: the heater failed somewhat before.
    """

    at_ms: int
    earliest_ms: int
    latest_ms: int
    falling_since_ms: int
    now_ms: int
    now_c: float
    rate_k_h: float
    """How fast it falls now, in K/h."""
    floor_c: float
    towards_c: float
    towards: Literal["the room", "what the readings bend to"]
    tau_h: float
    tau_low_h: float
    tau_high_h: float
    rms_c: float
    points: int

    @property
    def hours(self) -> float:
        """From the newest reading to the floor, in h."""
        return (self.at_ms - self.now_ms) / HOUR_MS


def time_to_floor_h(t0_c: float, floor_c: float, ambient_c: float, tau_h: float) -> float | None:
    """How long without heat from `t0_c` down to the floor: τ ln((T0 − Ta)/(B − Ta)), in h.

    0 where it is there already; None where the surroundings are no colder than the floor, so that
    it never gets there. Raises ValueError for a time constant that is not above 0.
    """
    if not tau_h > 0:
        raise ValueError("a time constant is above 0 h")
    if t0_c <= floor_c:
        return 0.0
    if ambient_c >= floor_c:
        return None
    return tau_h * math.log((t0_c - ambient_c) / (floor_c - ambient_c))


def forecast(
    at_ms: Sequence[int],
    warm_c: Sequence[float],
    room_c: RoomC,
    floor_c: float,
    *,
    usual_c: float | None = None,
    known_tau: KnownTau | None = None,
    limits: Limits = DEFAULT,
) -> Forecast | None:
    """When the warm side will pass `floor_c`, or None where that cannot be said.

    `at_ms` and `warm_c` are its usable readings in time order, the newest last, over the fall and
    at best two hours before it; `room_c` the room over the same time. `usual_c` is how low it
    usually goes (`usual_low_c` of the last two days): a fall above that is not spoken of.
    """
    found = forecast_or_why(
        at_ms, warm_c, room_c, floor_c, usual_c=usual_c, known_tau=known_tau, limits=limits
    )
    return found if isinstance(found, Forecast) else None


def forecast_or_why(
    at_ms: Sequence[int],
    warm_c: Sequence[float],
    room_c: RoomC,
    floor_c: float,
    *,
    usual_c: float | None = None,
    known_tau: KnownTau | None = None,
    limits: Limits = DEFAULT,
) -> Forecast | Silence:
    """Like `forecast`; where nothing is said, why."""
    fall = find_fall(at_ms, warm_c, room_c, usual_c=usual_c, limits=limits)
    if isinstance(fall, Silence):
        return fall
    if fall.warm_c[-1] <= floor_c:
        return Silence.BELOW
    cooling = cooling_of(fall, known=known_tau, limits=limits)
    if isinstance(cooling, Silence):
        return cooling
    return ahead_of(cooling, at_ms[-1], floor_c, limits)


def ahead_of(
    cooling: Cooling, now_ms: int, floor_c: float, limits: Limits = DEFAULT
) -> Forecast | Silence:
    """When a fall that follows a cooling curve passes the floor, if it does in the time ahead."""
    newest_c = cooling.around_c + cooling.excess_k
    hours = time_to_floor_h(newest_c, floor_c, cooling.around_c, cooling.tau_h)
    if hours is None:
        return Silence.NEVER
    if hours <= 0:
        return Silence.BELOW
    if hours > limits.horizon_h:
        return Silence.FAR
    ln_se = _ln_time_se(cooling, hours, floor_c, limits)
    if ln_se > limits.most_ln_time_se:
        return Silence.TOO_WIDE
    passing_h = limits.pass_sd_c * cooling.tau_h / (floor_c - cooling.around_c)
    ln_se = math.hypot(ln_se, passing_h / hours)
    wide = math.exp(student_t(_NORMAL_90, cooling.fitted.freedom) * ln_se)
    tau_wide = math.exp(student_t(_NORMAL_95, cooling.fitted.freedom) * cooling.ln_tau_se)
    return Forecast(
        at_ms=_later(now_ms, hours),
        earliest_ms=_later(now_ms, hours / wide),
        latest_ms=_later(now_ms, hours * wide),
        falling_since_ms=round(cooling.fall.start_ms),
        now_ms=now_ms,
        now_c=newest_c,
        rate_k_h=cooling.excess_k / cooling.tau_h,
        floor_c=floor_c,
        towards_c=cooling.around_c,
        towards="the room" if cooling.fall.room_c is not None else "what the readings bend to",
        tau_h=cooling.tau_h,
        tau_low_h=cooling.tau_h / tau_wide,
        tau_high_h=cooling.tau_h * tau_wide,
        rms_c=cooling.rms_c,
        points=len(cooling.fall.hours),
    )


def _ln_time_se(cooling: Cooling, hours: float, floor_c: float, limits: Limits) -> float:
    """Standard error of the logarithm of the time to the floor (delta method).

    t = τ ln(u/(B − A)): by u τ/u, by ln τ t, by A τ/(B − A). On top comes the room's way until
    then, of which half counts on average, and how far any curve is out.
    """
    tau, above = cooling.tau_h, floor_c - cooling.around_c
    gradient = [tau / cooling.excess_k * by for by in cooling.by]
    gradient[1] += hours
    if len(gradient) > 2:
        gradient[2] += tau / above
    drift = tau / above * limits.room_drift_k_h * hours / 2
    fitted = math.hypot(cooling.fitted.se_along(gradient), drift) / hours
    return math.hypot(fitted, limits.curve_ln_sd)


def _later(now_ms: int, hours: float) -> int:
    return now_ms + round(hours * HOUR_MS)
