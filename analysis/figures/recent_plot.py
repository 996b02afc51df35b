"""The last hours of an enclosure: a picture for an alarm, understood on a lock screen."""

from __future__ import annotations

from pathlib import Path

from analysis.enclosure_words import digesting_sentence, enclosure_sentence
from analysis.figures.climate import Climate
from analysis.figures.meal_shape import meal_ribbon
from analysis.figures.page import Form, Picture, draw_picture
from analysis.figures.paper import Sheet, drawing, known_suffix
from analysis.figures.ribbon import Event, RibbonShape
from analysis.recent import Recent
from analysis.words import HOUR_MS, hours, local_time, temperature
from config.care import CareProfile
from config.settings import Settings

LOCK_SCREEN = Form(width=330, margin=14, plot=215, title=15.5, heading=12, body=11, strip=24)
"""Large letters on a small picture, not much higher than wide."""


def plot_recent(
    recent: Recent, path: Path, settings: Settings, care: CareProfile, title: str | None = None
) -> None:
    """Draw it to a .png, .svg or .pdf file. Raises Unusable, one line, for what cannot be.

    `title` is what an alarm says; without one the enclosure's own sentence is the title.
    """
    suffix = known_suffix(path)
    with drawing():
        recent_sheet(recent, suffix, settings, care, title).save(path)


def recent_sheet(
    recent: Recent, suffix: str, settings: Settings, care: CareProfile, title: str | None = None
) -> Sheet:
    """The sheet. To be called inside `drawing`."""
    sentence = enclosure_sentence(recent.enclosure, recent.warmth, (), settings)
    climate = recent_climate(recent, care)
    picture = Picture(
        title=title if title is not None else sentence,
        under_title="; ".join(_digesting(recent, settings)),
        ribbon=_ribbon(recent, care),
        climate=climate,
        heading="",
        body=[
            *([f"{sentence}."] if title is not None else []),
            " ".join(_beneath(climate, settings)),
        ],
    )
    return draw_picture(picture, suffix, settings, LOCK_SCREEN)


def recent_climate(recent: Recent, care: CareProfile) -> Climate:
    """What the plot shows of the enclosure."""
    floor_c, *lower_c = care.levels_c("below")
    events = [Event(one.at_ms, "handled") for one in recent.handlings]
    meals = [one.gathered.meal for one in recent.digesting]
    events += [Event(m.taken_at_ms, "meal") for m in meals if m.taken_at_ms is not None]
    return Climate(
        recent.start_ms,
        recent.now_ms,
        recent.warm,
        recent.cool,
        recent.room,
        floor_c=floor_c,
        hot_c=care.levels_c("above")[0],
        lower_limits_c=tuple(lower_c),
        events=tuple(sorted(events, key=lambda event: event.at_ms)),
    )


def _digesting(recent: Recent, settings: Settings) -> list[str]:
    return [
        digesting_sentence(
            one.gathered.meal,
            one.gathered.window.end_ms,
            one.gathered.window.ended_by,
            one.review.digestion.model_days_at_30c,
            settings,
        )
        for one in recent.digesting
    ]


def _ribbon(recent: Recent, care: CareProfile) -> RibbonShape | None:
    """The ribbon of the meal being digested; of several, the latest."""
    if not recent.digesting:
        return None
    latest = max(recent.digesting, key=lambda one: one.review.taken_at_ms)
    return meal_ribbon(latest.review, latest.gathered, care)


def _beneath(climate: Climate, settings: Settings) -> list[str]:
    """The span, and for how long of it it was cold, hot or not known."""
    span_h = (climate.end_ms - climate.start_ms) / HOUR_MS
    lines = [f"The {hours(span_h)} to {local_time(climate.end_ms, settings.zone)}."]
    if climate.warm is None:
        return lines
    known = climate.warm.cut(climate.start_ms, climate.end_ms)
    for side, level_c, beyond_h in (
        ("Below", climate.floor_c, known.hours_below(climate.floor_c)),
        ("Above", climate.hot_c, known.upside_down().hours_below(-climate.hot_c)),
    ):
        if beyond_h > 0:
            lines.append(f"{side} {temperature(level_c, settings)} for {hours(beyond_h)} of that.")
    missing_h = span_h - known.known_hours
    if missing_h > settings.review.gap_minutes / 60:
        lines.append(f"No readings for {hours(missing_h)} of that.")
    return lines
