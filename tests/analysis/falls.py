"""Falls for the tests of cooling: textbook ones, and those of a simulated enclosure."""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.cooling import Forecast, Limits, Silence, forecast_or_why
from hardware.rack.enclosure import EnclosureBuild
from hardware.rack.faults import Fault, Script
from hardware.rack.layout import Seat
from hardware.rack.probe import ProbeBuild
from hardware.rack.rack import Rack
from hardware.rack.room import Room, RoomClimate

T0 = 1_740_787_200_000  # 2025-03-01T00:00:00Z
MINUTE = 60_000
HOUR = 3_600_000
DAY = 24 * HOUR
FLOOR_C = 28.0

EXACT = Limits(
    room_sd_c=0.0, room_drift_k_h=0.0, curve_ln_sd=0.0, pass_sd_c=0.0, least_unknown_k=0.5
)
"""For a fall that is a cooling curve towards a room that is known and stands still."""
LARCH = EnclosureBuild("Larch")
ROOM = RoomClimate()


@dataclass(frozen=True)
class Series:
    """Readings of the warm side and the room over the same times."""

    at_ms: list[int]
    warm_c: list[float]
    room_c: list[float]


def textbook(
    *,
    tau_h: float = 2.5,
    from_c: float = 31.0,
    room_c: float = 22.0,
    hours: float = 0.5,
    every_ms: int = MINUTE,
    sigma_c: float = 0.0,
    draw: random.Random | None = None,
    start_ms: int = T0,
) -> Series:
    """T_room + (T0 − T_room) e^(−t/τ), with noise."""
    at_ms = list(range(start_ms, start_ms + round(hours * HOUR) + 1, every_ms))
    warm_c = [
        room_c
        + (from_c - room_c) * math.exp(-(at - start_ms) / HOUR / tau_h)
        + (draw.gauss(0, sigma_c) if draw else 0.0)
        for at in at_ms
    ]
    return Series(at_ms, warm_c, [room_c] * len(at_ms))


def rack_series(
    *,
    seed: int,
    days: float,
    faults: Sequence[Fault] = (),
    every_ms: int = 10_000,
    build: EnclosureBuild = LARCH,
    climate: RoomClimate = ROOM,
    start_ms: int = T0,
) -> Series:
    """Probes in 1/16 °C steps in a simulated enclosure and its room."""
    rack = Rack(
        seed=seed,
        room=Room(seed, climate),
        enclosures=[build],
        probes=[ProbeBuild("warm"), ProbeBuild("room")],
        seats=[Seat("warm", build.name, "warm side"), Seat("room", None, "room")],
        script=Script(faults),
        start_ms=start_ms,
    )
    series = Series([], [], [])
    for at in range(start_ms, start_ms + round(days * DAY), every_ms):
        rack.advance(at)
        said = {sample.probe: sample.value for sample in rack.read()}
        if 0 < said.get("warm", 85.0) < 84 and 0 < said.get("room", 85.0) < 84:
            series.at_ms.append(at)
            series.warm_c.append(said["warm"])
            series.room_c.append(said["room"])
    return series


def forecasts_along(
    series: Series,
    *,
    every_ms: int = MINUTE,
    back_ms: int = 6 * HOUR,
    usual_c: float | None = None,
    with_room: bool = True,
    floor_c: float = FLOOR_C,
) -> list[tuple[int, Forecast | Silence]]:
    """What is forecast as time goes on: from the last hours, every so often."""
    found = []
    at_ms, first, due = series.at_ms, 0, series.at_ms[0] + every_ms
    for end in range(1, len(at_ms) + 1):
        now_ms = at_ms[end - 1]
        if now_ms < due:
            continue
        due = now_ms + every_ms
        while at_ms[first] < now_ms - back_ms:
            first += 1
        said = forecast_or_why(
            at_ms[first:end],
            series.warm_c[first:end],
            series.room_c[first:end] if with_room else None,
            floor_c,
            usual_c=usual_c,
        )
        found.append((now_ms, said))
    return found


def passes_at_ms(series: Series, after_ms: int, level_c: float = FLOOR_C) -> float | None:
    """When the readings pass the level: on the line between means of a minute (or readings)."""
    before: tuple[float, float] | None = None
    for end in range(1, len(series.at_ms) + 1):
        first = end - 1
        while first > 0 and series.at_ms[first - 1] > series.at_ms[end - 1] - MINUTE:
            first -= 1
        at = statistics.fmean(series.at_ms[first:end])
        mean_c = statistics.fmean(series.warm_c[first:end])
        if before is not None and at >= after_ms and mean_c < level_c:
            share = (before[1] - level_c) / (before[1] - mean_c)
            return before[0] + share * (at - before[0])
        before = (at, mean_c)
    return None
