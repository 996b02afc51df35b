"""The model of an enclosure against the simulated enclosure it was never told of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import t

from analysis.enclosure_falls import downs, t_95
from analysis.enclosure_model import EnclosureModel, model_of
from analysis.enclosure_model_words import ONLY_AN_ESTIMATE, hold_sentence, model_sentences
from analysis.enclosure_track import EnclosureTrack, sampled
from analysis.exposure import line_of
from analysis.gap_estimate import gap_low
from config.settings import Settings
from hardware.rack.faults import DoorOpen, Fault, Heater, HeaterFault, PowerCut, ThermostatDrift
from hardware.rack.room import RoomClimate
from tests.analysis.falls import DAY, HOUR, LARCH, MINUTE, T0, Series, rack_series

TAU_H = LARCH.warm_tau_s / 3600
TWO_MINUTES = 2 * MINUTE


def track_of(*parts: Series) -> EnclosureTrack:
    return EnclosureTrack(
        np.array([at for one in parts for at in one.at_ms], float),
        np.array([c for one in parts for c in one.warm_c]),
        np.array([c for one in parts for c in one.room_c]),
        15.0 * MINUTE,
    )


def model(*parts: Series) -> EnclosureModel:
    return model_of("Larch", track_of(*parts))


def failures(count: int, hours: float = 3.0) -> Sequence[Fault]:
    return [
        HeaterFault("Larch", Heater.OFF, at, at + round(hours * HOUR))
        for at in (T0 + (2 + 3 * i) * DAY + 5 * i * HOUR for i in range(count))
    ]


@pytest.fixture(scope="module")
def failed() -> EnclosureModel:
    """Six failures of three hours, a power cut of five hours and one of an hour and a half."""
    cuts = [PowerCut(T0 + 24 * DAY, T0 + 24 * DAY + 5 * HOUR),
            PowerCut(T0 + 26 * DAY, T0 + 26 * DAY + 90 * MINUTE)]  # fmt: skip
    return model(rack_series(seed=1, days=28, every_ms=TWO_MINUTES, faults=[*failures(6), *cuts]))


# ---- time constant --------------------------------------------------------------------------


def test_the_time_constant_is_the_simulated_one(failed: EnclosureModel) -> None:
    found = failed.time_constant
    assert found is not None
    assert (found.falls, found.aside) == (6, 0)
    assert found.low_h <= TAU_H <= found.high_h
    assert found.tau_h == pytest.approx(TAU_H, rel=0.05)
    ahead = failed.falls_to_floor_h(28.0, 20.0)
    assert ahead is not None
    assert failed.usual_c is not None
    by_hand = TAU_H * math.log((failed.usual_c - 20) / 8)
    assert ahead[1] <= by_hand <= ahead[2]
    assert failed.falls_to_floor_h(28.0, 29.0) is None


def test_one_fall_says_so_and_is_less_sure(failed: EnclosureModel) -> None:
    one = model(rack_series(seed=4, days=4, every_ms=TWO_MINUTES, faults=failures(1))).time_constant
    assert one is not None
    assert failed.time_constant is not None
    assert one.falls == 1
    assert one.low_h < TAU_H < one.high_h
    assert one.high_h / one.low_h > failed.time_constant.high_h / failed.time_constant.low_h


def test_without_falls_or_without_the_room_it_is_not_known() -> None:
    calm = rack_series(seed=2, days=3, every_ms=TWO_MINUTES)
    assert model(calm).time_constant is None
    blind = rack_series(seed=1, days=4, every_ms=TWO_MINUTES, faults=failures(1))
    blind = replace(blind, room_c=[math.nan] * len(blind.at_ms))
    found = model(blind)
    assert (found.time_constant, found.reach, found.room_known) == (None, None, False)
    assert "no room probe" in model_sentences(found, None, 28.0, Settings())[0]


def test_doors_are_not_taken_for_cooling() -> None:
    doors = [DoorOpen("Larch", T0 + i * DAY + 9 * HOUR, T0 + i * DAY + 9 * HOUR + m * MINUTE)
             for i, m in enumerate((5, 12, 20, 30, 40, 60))]  # fmt: skip
    found = model(rack_series(seed=1, days=7, every_ms=MINUTE, faults=doors)).time_constant
    assert found is None or found.tau_h > 1.5


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 9, 30])
def test_students_t(freedom: int) -> None:
    """scipy.stats.t."""
    assert t_95(freedom) == pytest.approx(t.ppf(0.975, freedom), rel=0.005)


@given(st.lists(st.integers(0, 80).map(lambda n: 25 + n / 16), min_size=1, max_size=60))
def test_falls_run_from_a_highest_to_a_lowest_and_do_not_overlap(values: list[float]) -> None:
    found = list(downs(np.array(values), 0.5))
    for top, bottom in found:
        assert top < bottom
        assert values[top] == max(values[top : bottom + 1])
        assert values[bottom] == min(values[top : bottom + 1])
    assert all(a[1] <= b[0] for a, b in pairwise(found))


# ---- reach ----------------------------------------------------------------------------------


def test_reach_is_what_was_held_and_no_more(failed: EnclosureModel) -> None:
    reach = failed.reach
    assert reach is not None
    assert 11.0 < reach.usual_k < reach.most_k < LARCH.heat_k
    assert reach.limit_k is None
    yes, open_, warm = (failed.can_hold(31.0, room) for room in (19.5, 15.0, 31.5))
    assert (yes.answer, open_.answer, warm.answer) == ("yes", "not known", "yes")
    assert (yes.need_k, open_.days) == (11.5, 0)
    assert "Not known: that takes 16.0 °C above the room" in hold_sentence(open_, Settings())


@pytest.fixture(scope="module")
def frozen() -> EnclosureModel:
    """Twelve ordinary days, then five in a room of 11 ± 1.5 °C with the heater always on."""
    cold = RoomClimate(mean_c=12.4, day_c=1.5, weather_c=0.3)
    return model(
        rack_series(seed=1, days=12, every_ms=TWO_MINUTES),
        rack_series(seed=1, days=5, every_ms=TWO_MINUTES, climate=cold, start_ms=T0 + 12 * DAY),
    )


def test_a_no_needs_the_heater_seen_at_its_most(frozen: EnclosureModel) -> None:
    assert frozen.reach is not None
    assert frozen.reach.limit_k == pytest.approx(LARCH.heat_k, abs=0.3)
    answers = {room: frozen.can_hold(31.0, room).answer for room in (10.0, 13.8, 15.0)}
    assert answers == {10.0: "no", 13.8: "not known", 15.0: "yes"}
    assert "at its most it had 17" in hold_sentence(frozen.can_hold(31.0, 10.0), Settings())


@given(st.floats(20, 35), st.floats(-5, 30), st.floats(0.0, 5.0))
def test_a_colder_room_is_never_easier(
    frozen: EnclosureModel, hold: float, room: float, colder: float
) -> None:
    order = ["no", "not known", "yes"]
    one, other = frozen.can_hold(hold, room), frozen.can_hold(hold, room - colder)
    assert order.index(other.answer) <= order.index(one.answer)


# ---- the heater -----------------------------------------------------------------------------


def weeks(strengths: Sequence[float]) -> list[Series]:
    return [
        rack_series(
            seed=3 + i, days=7, every_ms=TWO_MINUTES, build=replace(LARCH, heat_k=heat_k),
            start_ms=T0 + 7 * i * DAY,
        )
        for i, heat_k in enumerate(strengths)
    ]  # fmt: skip


def test_a_heater_that_weakens_is_told_before_the_warm_side_shows_it() -> None:
    found = model(*weeks([19.0 - 0.5 * i for i in range(9)])).heater
    assert found.strength is not None
    assert found.strength.sinking
    # From 19 to 15 K in eight weeks, of a middle of 17: 12.6 % in 30 days.
    assert found.strength.low <= -12.6 <= found.strength.high
    assert found.warm_side is not None
    assert not found.warm_side.sinking


def test_a_heater_as_ever_is_not_accused() -> None:
    found = model(*weeks([17.0] * 8)).heater
    assert found.strength is not None
    assert not found.strength.sinking
    assert found.strength_k == pytest.approx(17.0, abs=0.7)


def test_few_weeks_say_nothing() -> None:
    found = model(*weeks([17.0, 15.0, 13.5])).heater
    assert (found.strength, found.warm_side) == (None, None)


def test_a_thermostat_that_wanders_is_a_sinking_warm_side() -> None:
    drift = [ThermostatDrift("Larch", -3.0, T0, T0 + 60 * DAY)]
    found = model(rack_series(seed=1, days=56, every_ms=TWO_MINUTES, faults=drift))
    assert found.heater.warm_side is not None
    assert found.heater.warm_side.sinking
    assert found.heater.warm_side.per_30_days == pytest.approx(-1.5, abs=0.2)
    said = " ".join(model_sentences(found, None, 28.0, Settings()))
    assert "warm side sinks" in said
    assert "works harder" not in said


# ---- gaps -----------------------------------------------------------------------------------


def test_a_power_cut_is_estimated_and_never_counted(failed: EnclosureModel) -> None:
    five, short = failed.gaps
    assert five.estimate is not None
    assert short.estimate is not None
    assert five.estimate.how == short.estimate.how == "fell all the while"
    for gap, hours in ((five, 5.0), (short, 1.5)):
        assert gap.estimate is not None
        assert failed.room_c is not None
        truth = failed.room_c + (31.2 - failed.room_c) * math.exp(-hours / TAU_H)
        assert gap.estimate.low_c == pytest.approx(truth, abs=0.8)
        assert gap.estimate.at_worst_c <= truth + 0.6
    assert model_sentences(failed, None, 28.0, Settings())[-1] == ONLY_AN_ESTIMATE


def test_the_turn_is_where_the_heat_came_back() -> None:
    """Against scipy's integration of dT/dt = (A + H − T)/τ: off for 3 h, then on for 1 h."""
    tau, room, strength = 2.0, 19.0, 17.0

    def rate(at: float, warm: Sequence[float]) -> list[float]:
        return [(room + (strength if at >= 3 else 0.0) - warm[0]) / tau]

    run = solve_ivp(rate, (0, 4), [31.0], max_step=0.01, rtol=1e-8)
    found = gap_low(31.0, float(run.y[0, -1]), 4.0, room, (tau, 1.9, 2.1), strength_k=strength,
                    usual_low_c=30.6)  # fmt: skip
    assert found.how == "fell, and was warming again"
    assert found.low_c == pytest.approx(float(run.y[0].min()), abs=0.02)
    assert found.at_worst_c < run.y[0].min() < found.at_best_c
    unknown = gap_low(31.0, float(run.y[0, -1]), 4.0, room, (tau, 1.9, 2.1), usual_low_c=30.6)
    assert unknown.low_c is None


@given(
    st.floats(26, 33), st.floats(20, 33), st.floats(1, 30), st.floats(10, 22), st.floats(1, 5),
    st.one_of(st.none(), st.floats(13, 25)), st.one_of(st.none(), st.floats(28, 31)),
)  # fmt: skip
def test_an_estimate_lies_within_its_interval(  # noqa: PLR0917  # drawn in this order
    before: float, after: float, hours: float, room: float, tau: float,
    strength: float | None, usual: float | None,
) -> None:  # fmt: skip
    found = gap_low(before, after, hours, room, (tau, 0.9 * tau, 1.1 * tau), strength_k=strength,
                    usual_low_c=usual)  # fmt: skip
    assert found.at_worst_c <= found.at_best_c == min(before, after)
    assert found.low_c is None or found.at_worst_c - 1e-9 <= found.low_c <= found.at_best_c


# ---- tracks ---------------------------------------------------------------------------------


def test_a_track_fills_no_gap() -> None:
    line = line_of([0, MINUTE, 60 * MINUTE, 61 * MINUTE], [30.0, 31.0, 20.0, 22.0], 15 * MINUTE)
    found = sampled(line, np.array([-1.0, 0.0, 30_000.0, 2e6, 3_630_000.0, 61.0 * MINUTE, 4e6]))
    assert found == pytest.approx(
        [math.nan, 30.0, 30.5, math.nan, 21.0, 22.0, math.nan], nan_ok=True
    )


def test_nothing_heard_is_nothing_said() -> None:
    empty = EnclosureTrack(np.empty(0), np.empty(0), np.empty(0), 900_000.0)
    found = model_of("Larch", empty)
    assert found.usual_c is None
    assert found.gaps == ()
    assert found.can_hold(31.0, 15.0).answer == "not known"
    assert model_sentences(found, None, 28.0, Settings()) == [
        "Larch: nothing was heard of its warm side."
    ]
