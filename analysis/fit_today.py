"""Whether an enclosure is fit for a meal today: warm side steady, probes reporting. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import words
from analysis.exposure import Line
from analysis.window import HOUR_MS
from config.care import CareProfile
from config.settings import Settings

_MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Fit:
    """`fit` is True only where all of it is known to be right, False where something is wrong.

    None: not known, look for yourself. Hours are of the last `steady_hours`.
    """

    fit: bool | None
    reasons: tuple[str, ...]
    known_hours: float
    hours_below: float
    hours_above: float


NO_PLACE = Fit(None, ("the book does not say where it is",), 0.0, 0.0, 0.0)
"""Of an animal without an enclosure."""


def fit_today(
    warm: Line | None,
    last_reading_ms: int | None,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    probes_apart_hours: float = 0.0,
) -> Fit:
    """Judge an enclosure by its warm side up to now.

    `warm` is the line over the profile's last steady hours at least, None without a probe there;
    `last_reading_ms` when one of its probes was last heard with a usable reading;
    `probes_apart_hours` for how long on end two of its probes were further apart than the settings
    allow.
    """
    if warm is None:
        return Fit(None, ("no probe on the warm side",), 0.0, 0.0, 0.0)
    rule, climate = care.next_meal, care.climate
    span_h = rule.steady_hours.value
    line = warm.cut(now_ms - span_h * HOUR_MS, now_ms)
    below_h = line.hours_below(climate.preferred.low)
    above_h = line.upside_down().hours_below(-climate.too_hot.value)
    wrong, open_ = [], []
    for word, level_c, off_h in (
        ("below", climate.preferred.low, below_h),
        ("above", climate.too_hot.value, above_h),
    ):
        if off_h > rule.most_hours_off.value:
            level = words.temperature(level_c, settings)
            wrong.append(f"{word} {level} for {words.hours(off_h)} of the last {span_h:.0f} h")
    silent_ms = care.alarm.no_readings.value * _MINUTE_MS
    if last_reading_ms is None or now_ms - last_reading_ms > silent_ms:
        open_.append("the warm side's probe is not reporting")
    if line.known_hours < rule.least_known_share.value * span_h:
        open_.append(f"only {words.hours(line.known_hours)} of the last {span_h:.0f} h are known")
    if probes_apart_hours > rule.most_hours_off.value:
        apart = words.temperature_change(settings.review.probes_disagree_c, settings)
        open_.append(f"its probes are more than {apart} apart")
    fit = False if wrong else None if open_ else True
    return Fit(fit, tuple(wrong + open_), line.known_hours, below_h, above_h)
