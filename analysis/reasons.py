"""Why a verdict is what it is, in a keeper's words and units, times in the home's zone."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from analysis.exposure import Spell
from analysis.verdict import Held
from analysis.warmth import Coverage
from analysis.window import Window
from analysis.words import (
    hours_against,
    local_clock,
    local_day,
    shown_temperature,
    temperature_change,
    temperature_unit,
    whole_hours,
)
from analysis.zones import Disagreement
from config.care import Digestion
from config.settings import Settings

WELL_COVERED = 0.95
"""Share of a window that has to be known before a figure is taken as the whole of it (our own
choice)."""


def no_probe() -> str:
    """Why there is nothing to judge."""
    return "no temperature probe was placed on the warm side of where the animal was"


def limit_reasons(
    held: Sequence[Held], coverage: Coverage, window: Window, settings: Settings
) -> list[str]:
    """One text per limit met, then what the gaps could hide."""
    met = [_met(one, settings) for one in held if one.met]
    hidden = [_hidden(one, settings) for one in held if one.possible and not one.met]
    if hidden:
        missing = f"readings are missing for {whole_hours(window.hours - coverage.known_hours)}"
        hidden = [f"{missing}; {text}" for text in hidden]
    return met + hidden


def coverage_reasons(coverage: Coverage, window: Window, progress: float | None) -> Iterator[str]:
    """What has not been seen: hours to come, and digestion in hours that are missing."""
    if window.ended_by == "now":
        yield f"the window is still open: {whole_hours(window.hours)} of it so far"
    if progress is not None and coverage.share < WELL_COVERED:
        yield (
            f"{math.floor(coverage.share * 100)} % of the time is known: digestion has come at "
            "least as far as the progress says, and may have come further"
        )


def thinned_reasons(hours: int) -> Iterator[str]:
    """Readings of the window that are gone, because nothing said that a meal would need them."""
    if hours:
        yield (
            f"the warm side's readings of {whole_hours(hours)} were thinned when the book had no "
            "meal there: they are kept by the hour alone, and no verdict is made from that"
        )


def disagreement_reasons(apart: Iterable[Disagreement], settings: Settings) -> Iterator[str]:
    """Probes of the warm side that did not agree."""
    allowed = degrees(settings.review.probes_disagree_c, settings)
    for one in apart:
        yield (
            f"warm-side probes {one.probes[0]} and {one.probes[1]} were more than {allowed} apart "
            f"for {whole_hours(one.hours)} ({whole_hours(one.longest_hours)} at a stretch, at most "
            f"{temperature_change(one.most_c, settings)}); their mean is used"
        )


def swing_reason(model: Digestion, settings: Settings) -> str:
    """Why digestion is taken to last longer than the model's plain sum."""
    swing = degrees(model.swing_c.value, settings)
    return (
        f"the warm side went up and down by {swing} or more a day: digestion is taken to last "
        f"{model.swing_factor.value:g} times as long"
    )


def limit_figure(held: Held, settings: Settings) -> str:
    """What the warm side came to against a limit: "below 28 °C for 7 h at a stretch, from …"."""
    return _figure(held, held.hours, held.spell, settings)


def level(level_c: float, settings: Settings) -> str:
    """A limit's temperature as it was set, without false decimals: "28 °C", "82.4 °F"."""
    return f"{shown_temperature(level_c, settings):.4g} {temperature_unit(settings)}"


def _met(held: Held, settings: Settings) -> str:
    return f"{limit_figure(held, settings)}; limit {_limit(held)}"


def _hidden(held: Held, settings: Settings) -> str:
    figure = _figure(held, held.if_gaps_cold, held.spell_if_gaps_cold, settings)
    return f"if it was cold then: {figure}; limit {_limit(held)} ({held.limit.verdict})"


def _figure(held: Held, value_h: float, spell: Spell | None, settings: Settings) -> str:
    limit = held.limit
    beyond = (
        f"{limit.side} {level(limit.level_c, settings)} for {hours_against(value_h, limit.hours)}"
    )
    if limit.of == "longest spell":
        start = f", from {_moment(spell.start_ms, settings)}" if spell is not None else ""
        return f"{beyond} at a stretch{start}{_within(held)}"
    return f"{beyond} in all{_within(held)}"


def _within(held: Held) -> str:
    within = held.limit.within_hours
    return f" in the first {within:g} h" if within is not None else ""


def _limit(held: Held) -> str:
    return f"{held.limit.hours:g} h"


def degrees(change_k: float, settings: Settings) -> str:
    """A limit that is a difference, as it was set: "2 °C", "3.6 °F"."""
    scale = 1.8 if settings.show.temperature == "degF" else 1.0
    return f"{change_k * scale:.3g} {temperature_unit(settings)}"


def _moment(at_ms: float, settings: Settings) -> str:
    whole = math.floor(at_ms)
    return f"{local_day(whole, settings.zone)} {local_clock(whole, settings.zone)}"
