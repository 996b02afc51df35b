"""The room the rack stands in: temperature and moisture as a pure function of seed and time.

Season, day cycle and slow weather, each a sine or a sum of sines, so that any moment can be asked
for by itself and the live rack goes on where the written history ended.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

_DAY_MS = 86_400_000
_YEAR_MS = 365.2425 * _DAY_MS
_COLDEST_OF_YEAR_MS = 25 * _DAY_MS
_COLDEST_OF_DAY_MS = 5 * 3_600_000
# Days between two like turns of the weather: none a multiple of another.
_WEATHER_DAYS = (1.7, 2.9, 4.7, 7.3, 11.9)


def saturation_hpa(temperature_c: float) -> float:
    """Saturation vapour pressure over water in hPa (WMO-No. 8, Annex 4.B; −45 to 60 °C)."""
    return 6.112 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


@dataclass(frozen=True, slots=True)
class RoomClimate:
    """What the room's temperature and humidity are made of: °C and % relative humidity."""

    mean_c: float = 19.6
    season_c: float = 1.4
    day_c: float = 0.9
    weather_c: float = 0.7
    mean_rh_pct: float = 55.0
    season_rh_pct: float = 6.0
    weather_rh_pct: float = 5.0


class Room:
    """A room's air over time. Equal seeds give equal rooms."""

    def __init__(self, seed: int, climate: RoomClimate = RoomClimate()) -> None:
        self._climate = climate
        draw = random.Random(f"room {seed}")  # noqa: S311  # simulated, not secret
        self._weather = _waves(draw)
        self._damp = _waves(draw)

    def temperature_c(self, at_ms: float) -> float:
        """Air temperature in °C at `at_ms` (UTC)."""
        climate = self._climate
        return (
            climate.mean_c
            - climate.season_c * _turn(at_ms - _COLDEST_OF_YEAR_MS, _YEAR_MS)
            - climate.day_c * _turn(at_ms - _COLDEST_OF_DAY_MS, _DAY_MS)
            + climate.weather_c * _sum_of(self._weather, at_ms)
        )

    def vapour_hpa(self, at_ms: float) -> float:
        """Water vapour pressure in hPa at `at_ms` (UTC)."""
        climate = self._climate
        rh_pct = (
            climate.mean_rh_pct
            + climate.season_rh_pct * _turn(at_ms - _COLDEST_OF_YEAR_MS, _YEAR_MS)
            + climate.weather_rh_pct * _sum_of(self._damp, at_ms)
        )
        return saturation_hpa(climate.mean_c) * max(5.0, min(rh_pct, 95.0)) / 100


def _turn(since_ms: float, period_ms: float) -> float:
    return math.cos(2 * math.pi * since_ms / period_ms)


def _waves(draw: random.Random) -> list[tuple[float, float]]:
    """(angular frequency per ms, phase) of each part of the weather."""
    return [
        (2 * math.pi / (days * _DAY_MS), draw.uniform(0, 2 * math.pi)) for days in _WEATHER_DAYS
    ]


def _sum_of(waves: list[tuple[float, float]], at_ms: float) -> float:
    """About −1 to 1: the root of the number of parts keeps the spread that of one sine."""
    total = 0.0
    for frequency, phase in waves:
        total += math.sin(frequency * at_ms + phase)
    return total / math.sqrt(len(waves))
