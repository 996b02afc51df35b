"""The figures of the alarm rules, from the care profile and the settings, in one unit each."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.watch.states import HOUR_MS, MINUTE_MS
from config.care import CareProfile, Sourced
from config.errors import BadSettings
from config.settings import Settings

_DURATIONS_MS = {"s": 1_000, "min": MINUTE_MS, "h": HOUR_MS}


@dataclass(frozen=True, slots=True)
class Rules:
    """The figures of the rules, from the care profile and the settings."""

    setpoint_c: float
    deadband_k: float
    on_delay_ms: int
    on_delay_digesting_ms: int
    off_delay_ms: int
    silence_ms: int
    gap_ms: int

    @property
    def lookback_ms(self) -> int:
        """How far back the readings must be seen to know the stretch that goes on."""
        return HOUR_MS + max(self.on_delay_ms, self.on_delay_digesting_ms, self.off_delay_ms)


def rules_of(care: CareProfile, settings: Settings) -> Rules:
    """The rules of a home. Raises BadSettings when a figure has a unit it cannot have."""
    alarm = care.alarm
    return Rules(
        setpoint_c=_figure(care, "warm_side_low", alarm.warm_side_low, ("Cel",)),
        deadband_k=_positive(
            care, "deadband", _figure(care, "deadband", alarm.deadband, ("K", "Cel"))
        ),
        on_delay_ms=_duration(care, "on_delay", alarm.on_delay),
        on_delay_digesting_ms=_duration(care, "on_delay_digesting", alarm.on_delay_digesting),
        off_delay_ms=_duration(care, "off_delay", alarm.off_delay),
        silence_ms=_duration(care, "no_readings", alarm.no_readings),
        gap_ms=round(settings.review.gap_minutes * MINUTE_MS),
    )


def _duration(care: CareProfile, name: str, figure: Sourced) -> int:
    value = _positive(care, name, _figure(care, name, figure, tuple(_DURATIONS_MS)))
    return round(value * _DURATIONS_MS[figure.unit])


def _figure(care: CareProfile, name: str, figure: Sourced, units: tuple[str, ...]) -> float:
    if figure.unit not in units:
        raise BadSettings(
            f"care profile {care.name}: alarm.{name}: unit {figure.unit!r}; "
            f"give it in {' or '.join(units)}"
        )
    return figure.value


def _positive(care: CareProfile, name: str, value: float) -> float:
    if value < 0:
        raise BadSettings(f"care profile {care.name}: alarm.{name}: {value:g} is below zero")
    return value
