"""The forecast on a simulated enclosure: real cadences, 1/16 °C steps, doors, cuts, gaps.

The enclosure is `hardware/rack`, which the forecast knows nothing of.
"""

from __future__ import annotations

import random
import statistics
from dataclasses import replace

import pytest

from analysis.cooling import Forecast
from hardware.rack.enclosure import EnclosureBuild
from hardware.rack.faults import DoorOpen, Fallen, Fault, Heater, HeaterFault, PowerCut
from hardware.rack.room import RoomClimate
from tests.analysis.falls import (
    DAY,
    FLOOR_C,
    HOUR,
    LARCH,
    MINUTE,
    T0,
    Series,
    forecasts_along,
    passes_at_ms,
    rack_series,
)


def claims(series: Series, **how: float) -> list[tuple[int, Forecast]]:
    found = forecasts_along(series, **how)  # type: ignore[arg-type]
    return [(now, one) for now, one in found if isinstance(one, Forecast)]


def failure(seed: int, every_ms: int) -> tuple[list[tuple[int, Forecast]], float]:
    """What is forecast from a heater's failure on, and when the floor was passed."""
    draw = random.Random(seed)
    build = replace(
        LARCH, warm_tau_s=draw.uniform(5400, 10800), hysteresis_k=draw.uniform(0.3, 1.4)
    )
    off_ms = T0 + 5 * HOUR + draw.randrange(3 * HOUR)
    fault = HeaterFault("Larch", Heater.OFF, off_ms)
    series = rack_series(seed=seed, days=0.6, faults=[fault], every_ms=every_ms, build=build)
    passed = passes_at_ms(series, off_ms, FLOOR_C)
    assert passed is not None
    return [(now, one) for now, one in claims(series) if now < passed], passed


@pytest.mark.parametrize("every_ms", [10_000, MINUTE])
def test_a_failed_heater_is_forecast_well_before_the_floor(every_ms: int) -> None:
    errors, within, leads = [], [], []
    for seed in range(4):
        found, passed = failure(seed, every_ms)
        assert found, seed
        leads.append((passed - found[0][0]) / MINUTE)
        errors += [abs(one.at_ms - passed) / MINUTE for _, one in found]
        within += [one.earliest_ms <= passed <= one.latest_ms for _, one in found]
    assert statistics.median(leads) > 12
    assert statistics.median(errors) < 2.5
    assert statistics.fmean(within) > 0.75


@pytest.mark.campaign
@pytest.mark.parametrize("every_ms", [10_000, MINUTE, 2 * MINUTE, 5 * MINUTE])
def test_many_failed_heaters(every_ms: int) -> None:
    errors, within, leads, silent = [], [], [], 0
    for seed in range(100, 160):
        found, passed = failure(seed, every_ms)
        silent += not found
        if found:
            leads.append((passed - found[0][0]) / MINUTE)
        errors += [abs(one.at_ms - passed) / MINUTE for _, one in found]
        within += [one.earliest_ms <= passed <= one.latest_ms for _, one in found]
    print(  # noqa: T201
        f"\nevery {every_ms / 1000:.0f} s: {len(errors)} forecasts of 60 failures, {silent} silent;"
        f" first {statistics.median(leads):.0f} min before; median error"
        f" {statistics.median(errors):.1f} min; within the interval {statistics.fmean(within):.2f}"
    )
    assert silent <= (12 if every_ms < 5 * MINUTE else 45)
    assert statistics.median(errors) < 3
    assert statistics.fmean(within) > 0.8


@pytest.mark.parametrize("hysteresis_k", [0.2, 0.8, 2.5])
def test_a_thermostat_that_switches_is_no_fall(hysteresis_k: float) -> None:
    build = replace(LARCH, hysteresis_k=hysteresis_k)
    assert claims(rack_series(seed=3, days=1, every_ms=30_000, build=build)) == []


def troubled(seed: int, days: int) -> list[Fault]:
    """Doors every few hours, for 2 to 20 minutes, and a short power cut a day."""
    draw, faults = random.Random(seed), list[Fault]()
    for day in range(days):
        for hour in (4, 9, 14, 20):
            at = T0 + day * DAY + hour * HOUR + draw.randrange(HOUR)
            faults.append(DoorOpen("Larch", at, at + draw.randrange(2, 20) * MINUTE))
        at = T0 + day * DAY + 12 * HOUR + draw.randrange(HOUR)
        faults.append(PowerCut(at, at + draw.randrange(1, 14) * MINUTE))
    return faults


def test_doors_and_short_cuts_are_no_fall() -> None:
    series = rack_series(seed=2, days=2, every_ms=30_000, faults=troubled(2, 2))
    assert claims(series) == []


def test_a_probe_that_slips_to_the_cool_side_is_no_fall() -> None:
    fallen = Fallen("warm", T0 + 6 * HOUR, T0 + 9 * HOUR)
    assert claims(rack_series(seed=1, days=0.5, every_ms=30_000, faults=[fallen])) == []


def test_a_heater_that_is_always_on_in_a_cold_room_is_no_fall() -> None:
    """The warm side follows a room of 14 ± 3 °C by day and night, with the heater at its most."""
    climate = RoomClimate(mean_c=14.0, day_c=3.0)
    assert claims(rack_series(seed=1, days=2, every_ms=MINUTE, climate=climate)) == []


@pytest.mark.campaign
@pytest.mark.parametrize("every_ms", [10_000, MINUTE])
@pytest.mark.parametrize("hysteresis_k", [0.4, 0.8, 1.6, 2.5])
def test_a_month_of_nothing(hysteresis_k: float, every_ms: int) -> None:
    """A thermostat's switching with doors and short cuts for 30 days, asked every minute."""
    build = EnclosureBuild("Larch", hysteresis_k=hysteresis_k)
    series = rack_series(seed=7, days=30, every_ms=every_ms, build=build, faults=troubled(7, 30))
    found = claims(series)
    episodes = sum(1 for i, (now, _) in enumerate(found) if i == 0 or now - found[i - 1][0] > HOUR)
    print(  # noqa: T201
        f"\nhysteresis {hysteresis_k} K, every {every_ms / 1000:.0f} s: "
        f"{len(found)} forecasts in {episodes} falls, of {30 * 1440} asked"
    )
    assert episodes <= 1
