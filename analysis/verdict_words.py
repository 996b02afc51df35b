"""A review in sentences: the verdict, what is known, how far digestion can have come. Pure.

The reasons are the review's own. Every text says no more than the readings show; what they cannot
tell is said with every verdict.
"""

from __future__ import annotations

import math

from analysis.digestion import AT_C
from analysis.review import Review
from analysis.verdict import Verdict
from analysis.warmth import Temperatures
from analysis.words import (
    NOT_KNOWN,
    about_days,
    day_number,
    hours,
    local_day,
    plain,
    temperature,
    temperature_span,
)
from config.settings import Settings

CANNOT_TELL = (
    "The warm side is the warmest the animal can have been: a warm reading proves nothing about "
    "where it lay."
)
"""Said wherever a verdict is shown."""

_WARMTH: tuple[Verdict, ...] = ("warm enough", "cool", "too cool", "too hot")


def verdict_sentence(one: Review) -> str:
    """The verdict, and what the gaps could hide: "The warm side was too cool."."""
    open_still = one.window.ended_by == "now"
    so_far, was = ("So far the", "has been") if open_still else ("The", "was")
    if one.verdict in _WARMTH:
        said = f"{so_far} warm side {was} {one.verdict}"
    elif one.verdict == "no warm-side probe":
        return "There was no warm-side probe: nothing to judge by."
    else:
        said = "There are not enough readings to say"
    if one.possible in (one.verdict, "not enough readings"):
        return f"{said}."
    return f"{said}; the gaps could hide that it was {one.possible}."


def reason_sentences(one: Review) -> list[str]:
    """The review's reasons, each as a sentence."""
    return [_sentence(reason) for reason in one.reasons if plain(reason)]


def known_sentence(one: Review, settings: Settings) -> str:
    """How much of the window is known, and what the two sides were."""
    if one.warm_side is None:
        return _cool_sentence(one.cool_side, settings)
    return f"{_warm_sentence(one, settings)} {_cool_sentence(one.cool_side, settings)}"


def _warm_sentence(one: Review, settings: Settings) -> str:
    warm, covered = one.warm_side, one.coverage
    if warm is None or warm.mean_c is None:
        return f"No reading of the warm side in {hours(one.window.hours)}."
    figures = (
        f"{temperature_span(warm.min_c, warm.max_c, settings)}, "
        f"mean {temperature(warm.mean_c, settings)}"
    )
    if covered.longest_gap_hours * 60 < 1:  # the moment since the last reading is no gap to tell of
        return f"The warm side is known for all {hours(one.window.hours)}: {figures}."
    return (
        f"The warm side is known for {hours(covered.known_hours)} of {hours(one.window.hours)}, "
        f"longest gap {hours(covered.longest_gap_hours)}: {figures}."
    )


def _cool_sentence(cool: Temperatures | None, settings: Settings) -> str:
    if cool is None:
        return "There was no probe on the cool side."
    if cool.mean_c is None:
        return "The cool side was not heard."
    return f"Cool side {temperature_span(cool.min_c, cool.max_c, settings)}."


def digestion_sentence(one: Review, settings: Settings) -> str:
    """How far digestion can have come, between always warm and always cool."""
    found = one.digestion
    if found.model_days_at_30c is None:
        return "How long digestion takes is not known: prey or body mass is not known."
    at = temperature(AT_C, settings)
    steady = f"Digestion, by the model: {about_days(found.model_days_at_30c)} at a steady {at}"
    warm, cool = _share(found.progress_warm_side), _share(found.progress_cool_side)
    if found.progress_warm_side is None and found.progress_cool_side is None:
        return f"{steady}; how far it came is {NOT_KNOWN}."
    when = "so far" if one.window.ended_by == "now" else "by the end"
    if found.through_at_warm_side_ms is not None:
        at_ms = round(found.through_at_warm_side_ms)
        day = day_number(at_ms, one.taken_at_ms)
        warm = f"through by {local_day(at_ms, settings.zone)} (day {day})"
        when = "it was"
    return (
        f"{steady}; {when} {warm} if the animal always lay on the warm side, {cool} if always on "
        "the cool side. An estimate, good to a quarter at best."
    )


def _share(share: float | None) -> str:
    if share is None:
        return NOT_KNOWN
    return "through" if share >= 1 else f"{math.floor(share * 100)} % done"


def _sentence(reason: str) -> str:
    text = plain(reason)
    return f"{text[0].upper()}{text[1:].rstrip('.')}."
