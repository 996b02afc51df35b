"""An enclosure in one sentence, as a person would say it. Pure, and light: no numpy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.meal_words import ending, prey
from analysis.words import NOT_KNOWN, age, plain, temperature, temperature_change
from collector.book.records import Meal
from config.settings import Settings

STEADY_K = 0.5
"""A warm side that changed by less than this in an hour is steady (our own choice: a thermostat
that switches moves it by as much)."""
FRESH_SECONDS = 120.0
"""A reading younger than this is said without its age (our own choice)."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """What the warm side of an enclosure is. None where it is not known."""

    value_c: float | None = None
    age_seconds: float | None = None
    change_k: float | None = None
    """Within the last hour."""


def warmth_sentence(warm: Warmth, settings: Settings) -> str:
    """ "31.2 °C on the warm side, steady"; with its age where it is an old reading."""
    if warm.value_c is None:
        return f"warm side {NOT_KNOWN}"
    text = f"{temperature(warm.value_c, settings)} on the warm side"
    if warm.age_seconds is not None and warm.age_seconds >= FRESH_SECONDS:
        return f"{text} {age(warm.age_seconds)}, nothing heard since"
    if warm.change_k is None:
        return text
    if abs(warm.change_k) < STEADY_K:
        return f"{text}, steady"
    verb = "up" if warm.change_k > 0 else "down"
    return f"{text}, {verb} {temperature_change(warm.change_k, settings)} in the last hour"


def digesting_sentence(
    meal: Meal, end_ms: int, ended_by: str, about_d: float | None, settings: Settings
) -> str:
    """ "Maren: day 4 of about 8 of a 220 g rat"."""
    what = f"{ending(meal, end_ms, ended_by, about_d)} of {prey(meal, settings)}"
    name = plain(meal.animal)
    return f"{name}: {what}" if name else what


def enclosure_sentence(
    enclosure: str, warm: Warmth, digesting: Sequence[str], settings: Settings
) -> str:
    """The enclosure, its warm side, and who digests what in it."""
    parts = [warmth_sentence(warm, settings), *digesting]
    return f"{plain(enclosure) or 'Enclosure'}: {'; '.join(parts)}"
