"""The forecast: closed forms, laws, what it must not say, and simulated fits."""

from __future__ import annotations

import math
import random
import statistics
import time
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from analysis.cooling import (
    Forecast,
    KnownTau,
    Limits,
    Silence,
    ahead_of,
    forecast,
    forecast_or_why,
    time_to_floor_h,
    usual_low_c,
)
from analysis.cooling_fall import Fall, find_fall
from analysis.cooling_fit import Cooling, cooling_of, curve_of
from analysis.exposure import Floats
from tests.analysis.falls import EXACT, FLOOR_C, HOUR, MINUTE, T0, Series, textbook


def said(series: Series, floor_c: float = FLOOR_C, limits: Limits = EXACT) -> Forecast | Silence:
    return forecast_or_why(series.at_ms, series.warm_c, series.room_c, floor_c, limits=limits)


# ---- closed form ----------------------------------------------------------------------------


def test_time_to_floor() -> None:
    """τ ln((T0 − Ta)/(B − Ta)), by hand: 2.5 h × ln 1.5."""
    assert time_to_floor_h(31.0, 28.0, 22.0, 2.5) == pytest.approx(1.013663, abs=5e-7)
    assert time_to_floor_h(28.0, 28.0, 22.0, 2.5) == 0.0
    assert time_to_floor_h(26.0, 28.0, 30.0, 2.5) == 0.0
    assert time_to_floor_h(31.0, 28.0, 28.0, 2.5) is None
    with pytest.raises(ValueError, match="time constant"):
        time_to_floor_h(31.0, 28.0, 22.0, 0.0)


@given(st.floats(0.6, 10.0), st.floats(29.0, 35.0), st.floats(10.0, 26.0), st.floats(0.01, 0.99))
def test_time_to_floor_is_the_curves_own(tau_h: float, t0: float, room: float, at: float) -> None:
    floor = room + (t0 - room) * math.exp(-at)
    assert time_to_floor_h(t0, floor, room, tau_h) == pytest.approx(at * tau_h, rel=1e-9)


def test_a_textbook_fall_is_forecast_to_the_second() -> None:
    series = textbook(hours=0.5, from_c=31.0)
    found = said(series)
    assert isinstance(found, Forecast)
    assert found.at_ms == pytest.approx(T0 + 1.0136628 * HOUR, abs=1000)
    assert found.earliest_ms <= found.at_ms <= found.latest_ms
    assert found.tau_h == pytest.approx(2.5, rel=1e-4)
    assert found.now_c == pytest.approx(series.warm_c[-1], abs=1e-4)
    assert found.rate_k_h == pytest.approx(9 / 2.5 * math.exp(-0.2), rel=1e-3)
    assert (found.towards, found.towards_c) == ("the room", 22.0)
    assert found.hours == pytest.approx(0.5136628, abs=3e-4)


def test_a_room_that_moves_is_followed() -> None:
    """Against the exact solution of dT/dt = (A − T)/τ with A(t) = 22 − 2t, by hand."""
    tau, hours = 2.5, [i / 60 for i in range(46)]
    excess = [(9 - 2 * tau) * math.exp(-t / tau) + 2 * tau for t in hours]
    room = [22 - 2 * t for t in hours]
    warm = [r + u for r, u in zip(room, excess, strict=True)]
    at = [T0 + round(t * HOUR) for t in hours]
    found = cooling_of(Fall(T0, tuple(hours), tuple(warm), tuple(room)), limits=EXACT)
    assert isinstance(found, Cooling)
    assert found.tau_h == pytest.approx(tau, rel=1e-6)
    assert found.rms_c < 1e-6
    still = forecast(at, warm, 22.0, FLOOR_C, limits=EXACT)
    moving = forecast(at, warm, lambda ms: 22 - 2 * (ms - T0) / HOUR, FLOOR_C, limits=EXACT)
    assert still is None or still.tau_h != pytest.approx(tau, rel=0.02)
    assert moving is not None
    assert moving.tau_h == pytest.approx(tau, rel=1e-4)


def test_the_curves_derivatives_are_those_of_differences() -> None:
    draw = random.Random(4)
    hours = tuple(sorted(draw.uniform(0, 2) for _ in range(12)))
    fall = Fall(0, hours, (0.0,) * 12, tuple(draw.uniform(18, 24) for _ in hours))
    at = [9.0, 0.8, 0.3]
    for p in range(3):
        ahead, behind = ([*at[:p], at[p] + d, *at[p + 1 :]] for d in (1e-6, -1e-6))
        pairs = zip(curve_of(fall)(ahead), curve_of(fall)(behind), strict=True)
        slopes = [(a - b) / 2e-6 for (a, _), (b, _) in pairs]
        assert [by[p] for _, by in curve_of(fall)(at)] == pytest.approx(slopes, abs=1e-6)


# ---- scipy as the reference -------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("free", [False, True])
def test_fits_are_scipys(seed: int, free: bool) -> None:
    """scipy.optimize.curve_fit on random cooling curves: coefficients and covariance."""
    draw = random.Random(seed)
    tau, room = draw.uniform(1.0, 4.0), draw.uniform(16, 23)
    series = textbook(tau_h=tau, room_c=room, hours=1.2 * tau, every_ms=3 * MINUTE, sigma_c=0.05,
                      draw=draw)  # fmt: skip
    hours = tuple((at - T0) / HOUR for at in series.at_ms)
    fall = Fall(T0, hours, tuple(series.warm_c), None if free else tuple(series.room_c))
    limits = replace(EXACT, noise_c=0.05, least_share_of_tau=0.1)
    ours = cooling_of(fall, limits=limits)

    def tied(t: Floats, u: float, k: float) -> Floats:
        fallen: Floats = room + u * np.exp(-t / np.exp(k))
        return fallen

    def untied(t: Floats, u: float, k: float, a: float) -> Floats:
        fallen: Floats = a + u * np.exp(-t / np.exp(k))
        return fallen

    theirs, covariance = curve_fit(
        untied if free else tied, np.array(hours), np.array(series.warm_c),
        p0=[9.0, 0.8, 20.0] if free else [9.0, 0.8], xtol=1e-13, ftol=1e-13,
    )  # fmt: skip
    assert isinstance(ours, Cooling)
    assert ours.fitted.parameters == pytest.approx(theirs, rel=1e-5)
    assert np.array(ours.fitted.covariance) == pytest.approx(covariance, rel=2e-3)


# ---- laws -------------------------------------------------------------------------------------

TAUS, SEEN = st.floats(0.8, 5.0), st.floats(0.12, 0.3)


@given(TAUS, SEEN, st.integers(-(10**11), 10**11))
def test_a_shift_in_time_shifts_the_forecast(tau: float, seen: float, by_ms: int) -> None:
    one = said(textbook(tau_h=tau, hours=max(seen * tau, 0.4)))
    other = said(textbook(tau_h=tau, hours=max(seen * tau, 0.4), start_ms=T0 + by_ms))
    if isinstance(one, Silence):
        assert other == one
        return
    assert isinstance(other, Forecast)
    for name in ("at_ms", "earliest_ms", "latest_ms", "falling_since_ms", "now_ms"):
        assert getattr(other, name) - getattr(one, name) == pytest.approx(by_ms, abs=2)


@given(TAUS, SEEN, st.floats(-15, 15))
def test_a_shift_in_temperature_changes_no_time(tau: float, seen: float, by: float) -> None:
    hours = max(seen * tau, 0.4)
    one = said(textbook(tau_h=tau, hours=hours))
    other = said(textbook(tau_h=tau, hours=hours, from_c=31 + by, room_c=22 + by), 28 + by)
    if isinstance(one, Forecast) and isinstance(other, Forecast):
        assert other.at_ms == pytest.approx(one.at_ms, abs=50)
        assert other.latest_ms == pytest.approx(one.latest_ms, abs=500)
        assert other.tau_h == pytest.approx(one.tau_h, rel=1e-5)
    else:  # on the edge between two blocks one of them may have begun a point later
        assert {type(one), type(other)} <= {Silence, Forecast}
        assert Silence.TOO_FAST not in (one, other)


@given(TAUS, SEEN, st.floats(0.5, 1.6))
def test_a_greater_excess_changes_no_time(tau: float, seen: float, by: float) -> None:
    """Excess over the room and floor alike: the time to the floor is of their ratio."""
    hours = max(seen * tau, 0.4)
    one = said(textbook(tau_h=tau, hours=hours))
    other = said(textbook(tau_h=tau, hours=hours, from_c=22 + 9 * by), 22 + 6 * by)
    if isinstance(one, Forecast) and isinstance(other, Forecast):
        assert other.at_ms == pytest.approx(one.at_ms, abs=200)
        assert other.rate_k_h == pytest.approx(by * one.rate_k_h, rel=1e-4)


@given(st.floats(0.8, 2.0), st.floats(0.3, 0.38), st.sampled_from([2, 3]))
def test_a_slower_enclosure_takes_longer_in_proportion(tau: float, seen: float, by: int) -> None:
    hours = max(seen * tau, 0.3)
    one = said(textbook(tau_h=tau, hours=hours))
    other = said(textbook(tau_h=tau * by, hours=hours * by, every_ms=MINUTE))
    if isinstance(one, Forecast) and isinstance(other, Forecast):
        assert other.at_ms - T0 == pytest.approx(by * (one.at_ms - T0), rel=1e-3)


# ---- what is not said -------------------------------------------------------------------------


def test_nothing_is_said_without_readings_or_with_few() -> None:
    assert forecast([], [], 20.0, FLOOR_C) is None
    assert said(textbook(hours=0.03)) is Silence.SHORT
    assert said(textbook(hours=0.1)) is Silence.NOT_FALLING  # 0.36 K: any thermostat's
    assert said(textbook(hours=0.25)) is Silence.SHORT


def test_a_level_or_rising_warm_side_is_not_falling() -> None:
    level = Series([T0 + i * MINUTE for i in range(200)], [31.0] * 200, [21.0] * 200)
    assert said(level) is Silence.NOT_FALLING
    rising = replace(level, warm_c=[28.5 + i / 100 for i in range(200)])
    assert said(rising) is Silence.NOT_FALLING


def test_a_room_no_colder_than_the_floor_is_never_reached() -> None:
    assert said(textbook(room_c=28.5, from_c=34.0, hours=1.5)) is Silence.NEVER
    assert said(textbook(room_c=27.6, from_c=34.0, hours=1.5, tau_h=5.5)) is Silence.FAR


def test_below_the_floor_another_rule_speaks() -> None:
    assert said(textbook(hours=1.5)) is Silence.BELOW


def test_too_fast_and_too_slow_are_no_enclosure() -> None:
    assert said(textbook(tau_h=0.35, hours=0.2, room_c=18.0), 23.0) is Silence.TOO_FAST
    assert said(textbook(tau_h=30.0, hours=6.0)) is Silence.TOO_SLOW


def test_a_heater_at_half_power_is_seen_and_waited_for() -> None:
    """It falls towards 26 °C in a room of 17 °C; not said before 0.4 of the time constant."""
    limits = replace(EXACT, room_sd_c=0.3, noise_c=0.05)
    draw = random.Random(3)

    def half(hours: float, known: KnownTau | None = None) -> Forecast | Silence:
        falls = textbook(room_c=26.0, from_c=31.5, hours=hours, sigma_c=0.02, draw=draw)
        return forecast_or_why(
            falls.at_ms, falls.warm_c, 17.0, 27.5, known_tau=known, limits=limits
        )

    assert half(0.9, KnownTau(2.5, 0.1)) is Silence.UNLIKE
    later = half(1.9)
    assert isinstance(later, Forecast)
    assert later.towards == "what the readings bend to"
    assert later.towards_c == pytest.approx(26.0, abs=0.3)
    truth = T0 + 2.5 * math.log(5.5 / 1.5) * HOUR
    assert later.earliest_ms <= truth <= later.latest_ms


def test_without_the_room_nothing_is_said_before_two_fifths_of_the_time_constant() -> None:
    series = textbook(room_c=20.0, hours=0.75, sigma_c=0.01, draw=random.Random(1))
    found = forecast_or_why(series.at_ms, series.warm_c, None, 25.0, limits=EXACT)
    assert found in (Silence.TOO_LITTLE, Silence.UNDETERMINED)
    series = textbook(room_c=20.0, hours=1.4, sigma_c=0.01, draw=random.Random(1))
    found = forecast_or_why(series.at_ms, series.warm_c, None, 24.0, limits=EXACT)
    assert isinstance(found, Forecast)
    assert found.at_ms == pytest.approx(T0 + 2.5 * math.log(11 / 4) * HOUR, rel=1e-6)


def test_readings_that_scatter_far_more_than_a_probe_does_are_no_fall() -> None:
    noisy = textbook(hours=0.8, every_ms=MINUTE, sigma_c=0.8, draw=random.Random(5))
    assert isinstance(said(noisy), Silence)
    fine = Fall(T0, tuple(i / 60 for i in range(40)),
                tuple(31 - i / 20 + 0.4 * (-1) ** i for i in range(40)), (20.0,) * 40)  # fmt: skip
    assert cooling_of(fall=fine) is Silence.NOISY


def test_heat_that_is_back_is_seen_at_the_newest_readings() -> None:
    hours = tuple(i / 60 for i in range(40))
    warm = [22 + 9 * math.exp(-h / 2.5) for h in hours]
    warm[-4:] = [warm[-5] + 0.3 + 0.1 * i for i in range(4)]
    found = cooling_of(Fall(T0, hours, tuple(warm), (22.0,) * 40))
    assert found in (Silence.HEAT_IS_BACK, Silence.CURVED)


def test_a_fall_above_the_usual_low_is_a_thermostats() -> None:
    series = textbook(hours=0.5)
    usual = {"usual_c": 29.0, "limits": EXACT}
    found = forecast_or_why(series.at_ms, series.warm_c, 22.0, FLOOR_C, **usual)  # type: ignore[arg-type]
    assert found is Silence.USUAL
    assert forecast(series.at_ms, series.warm_c, 22.0, FLOOR_C, usual_c=30.5, limits=EXACT)


def test_the_usual_low_forgets_one_failure_in_two_days() -> None:
    assert usual_low_c([]) is None
    days = [30.8 + 0.01 * (i % 80) for i in range(2880)]
    failed = [25.0 if 100 <= i < 200 else c for i, c in enumerate(days)]
    assert usual_low_c(days) == pytest.approx(30.83, abs=0.02)
    assert usual_low_c(failed) == pytest.approx(30.8, abs=0.05)


def test_after_a_hole_the_heat_may_be_back() -> None:
    """A power cut of 13 min: the first readings after it lie on the curve, and prove nothing."""
    series = textbook(hours=0.7, every_ms=MINUTE)
    kept = [i for i in range(len(series.at_ms)) if not 26 <= i < 39]
    cut = Series([series.at_ms[i] for i in kept], [series.warm_c[i] for i in kept],
                 [22.0] * len(kept))  # fmt: skip
    assert said(cut) is Silence.SHORT
    assert isinstance(said(series), Forecast)


def test_a_known_time_constant_narrows_the_interval() -> None:
    series = textbook(hours=0.6, sigma_c=0.05, draw=random.Random(8))
    known = KnownTau(2.5, 0.03)
    alone = said(series, limits=replace(EXACT, most_ln_time_se=9, most_ln_tau_se=9))
    helped = forecast(
        series.at_ms, series.warm_c, series.room_c, FLOOR_C, known_tau=known, limits=EXACT
    )
    assert isinstance(alone, Forecast)
    assert helped is not None
    assert helped.latest_ms - helped.earliest_ms < 0.85 * (alone.latest_ms - alone.earliest_ms)


# ---- thinning and cost ------------------------------------------------------------------------


def test_thinning_is_bounded_and_keeps_the_newest() -> None:
    series = textbook(hours=0.9, every_ms=1000)
    fall = find_fall(series.at_ms, series.warm_c, series.room_c, limits=EXACT)
    assert isinstance(fall, Fall)
    assert len(fall.hours) <= EXACT.most_points + 1
    assert fall.warm_c[-1] == series.warm_c[-1]
    assert fall.start_ms + fall.hours[-1] * HOUR == pytest.approx(series.at_ms[-1], abs=1)


def test_one_forecast_costs_milliseconds() -> None:
    series = textbook(hours=0.9, every_ms=16_000, sigma_c=0.03, draw=random.Random(2))
    assert len(series.at_ms) > 200
    found, costs = None, []
    for _ in range(9):
        begun = time.perf_counter()
        found = said(series)
        costs.append(time.perf_counter() - begun)
    assert isinstance(found, Forecast)
    assert statistics.median(costs) < 0.05  # 4 ms measured; far under the 10 s between two calls


# ---- simulated fits ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Tally:
    """What came of many simulated fits: shares, and the relative error of the time to the floor."""

    unusable: float
    bias: float
    spread: float
    covered: float


def simulated(
    share_of_tau: float, limits: Limits, fits: int, *, with_room: bool = True, off_k: float = 0.0
) -> Tally:
    """Falls of τ 2.5 h in a 22 °C room, a reading a minute of σ 0.1 °C, floor a τ below."""
    draw, errors, covered = random.Random(round(1000 * share_of_tau)), [], 0
    for _ in range(fits):
        room_c = 22.0 + draw.gauss(0, off_k)
        series = textbook(room_c=room_c, hours=2.5 * share_of_tau, sigma_c=0.1, draw=draw)
        hours = tuple((at - T0) / HOUR for at in series.at_ms)
        room = (22.0,) * len(hours) if with_room else None
        found = cooling_of(Fall(T0, hours, tuple(series.warm_c), room), limits=limits)
        floor_c = room_c + (31 - room_c) * math.exp(-share_of_tau - 0.3)
        if isinstance(found, Cooling):
            ahead = ahead_of(found, series.at_ms[-1], floor_c, limits)
            if isinstance(ahead, Forecast):
                errors.append((ahead.at_ms - series.at_ms[-1]) / (0.75 * HOUR) - 1)
                truth = series.at_ms[-1] + 0.75 * HOUR
                covered += ahead.earliest_ms <= truth <= ahead.latest_ms
    if not errors:
        return Tally(1.0, math.nan, math.nan, math.nan)
    return Tally(
        1 - len(errors) / fits,
        statistics.median(errors),
        statistics.pstdev(errors),
        covered / len(errors),
    )


@pytest.mark.parametrize(("share", "fits"), [(0.1, 60), (0.3, 60)])
def test_a_short_share_of_the_simulated_fits(share: float, fits: int) -> None:
    tally = simulated(share, EXACT, fits)
    assert tally.unusable <= 0.1
    assert abs(tally.bias) < 0.05
    assert tally.covered >= 0.8


@pytest.mark.campaign
@pytest.mark.parametrize("share", [0.1, 0.2, 0.4, 0.8])
def test_simulated_fits(share: float) -> None:
    """400 fits each: towards a known room; towards one that the probe misses; without a room."""
    tied = simulated(share, EXACT, 400)
    missed = simulated(share, replace(EXACT, room_sd_c=0.3), 400, off_k=0.3)
    free = simulated(share, EXACT, 400, with_room=False)
    print(f"\n{share:.1f} τ seen\n  tied {tied}\n  missed {missed}\n  free {free}")  # noqa: T201
    assert tied.unusable <= 0.02
    assert abs(tied.bias) < 0.02
    assert 0.86 <= tied.covered <= 0.94
    assert missed.unusable <= 0.05
    assert missed.covered >= 0.86
    assert {0.1: 1.0, 0.2: 1.0, 0.4: 0.2, 0.8: 0.0}[share] <= free.unusable
    assert share < 0.8 or (abs(free.bias) < 0.02 and 0.86 <= free.covered <= 0.94)
