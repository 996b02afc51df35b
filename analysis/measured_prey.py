"""The factors of the prey: its size, its width, how warm and in what state, where it was fed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from analysis.exposure import Line
from analysis.gathering import Gathered
from analysis.measure import Measured, basis_text
from collector.book.records import FedIn, PreyState
from config.care import CareProfile, Sourced

SHARE, WIDTH = "prey share of body mass", "prey width over mid-body"
CONTRAST, STATE, FED_IN = "prey surface contrast", "prey state", "fed in"
COOL_SIDE = "; over the cool side"
WARM_SIDE = "; over the warm side, the cool side was not read"


def size_factors(gathered: Gathered, care: CareProfile) -> Iterator[Measured]:
    """How large the prey was for the animal."""
    yield _share(gathered, care)
    yield _width(gathered, care)


def offer_factors(gathered: Gathered, care: CareProfile) -> Iterator[Measured]:
    """How the prey was offered."""
    yield _contrast(gathered, care)
    yield _words(STATE, gathered.meal.prey_state)
    yield _words(FED_IN, gathered.meal.fed_in)


def _share(gathered: Gathered, care: CareProfile) -> Measured:
    """The meal in % of body mass, against the higher of two limits that it passes."""
    pct, feeding = gathered.meal_pct, care.feeding
    too_large = pct is not None and pct > feeding.prey_share_too_large.value
    rule = feeding.prey_share_too_large if too_large else feeding.prey_share_large
    return Measured(
        SHARE,
        pct,
        basis_text(rule),
        limit=rule.value,
        breaks=pct > rule.value if pct is not None else None,
        rank_by=pct,
    )


def _width(gathered: Gathered, care: CareProfile) -> Measured:
    prey_mm, body_mm = gathered.meal.prey_width_mm, gathered.midbody_mm
    rule = care.feeding.width_over_midbody_mm
    over_mm = prey_mm - body_mm if prey_mm is not None and body_mm is not None else None
    return Measured(
        WIDTH,
        over_mm,
        basis_text(rule),
        limit=rule.value,
        breaks=over_mm > rule.value if over_mm is not None else None,
        rank_by=over_mm,
    )


def _contrast(gathered: Gathered, care: CareProfile) -> Measured:
    """How much warmer the prey's surface was than its surroundings when it was taken, in K.

    The rule is about prey before what the pits see behind it. That is the enclosure away from its
    heat: prey at the 35-40 °C of common practice is 10 °C over the cool side, and never over a warm
    side of 31 °C. Where the cool side was not read, the contrast with the warm side is the least
    it was: enough there is enough, and it was too little where it is so even over the low end of
    the profile's cool side. What a box was like, nobody read.
    """
    surface_c, rule = gathered.meal.prey_surface_c, care.feeding.surface_contrast_c
    cool_c, warm_c = (_at_meal(gathered, line) for line in (gathered.cool, gathered.warm))
    if surface_c is None or gathered.meal.fed_in is FedIn.BOX or cool_c is warm_c is None:
        return _contrast_of(None, None, rule, "")
    if cool_c is not None:
        over = surface_c - cool_c
        return replace(_contrast_of(over, over < rule.value, rule, COOL_SIDE), rank_by=over)
    at_least = surface_c - (warm_c or 0.0)
    at_most = surface_c - care.climate.cool_side.low
    breaks = False if at_least >= rule.value else True if at_most < rule.value else None
    return _contrast_of(at_least, breaks, rule, WARM_SIDE)


def _contrast_of(over: float | None, breaks: bool | None, rule: Sourced, side: str) -> Measured:
    return Measured(
        CONTRAST,
        over,
        basis_text(rule) + side,
        limit=rule.value,
        breaks=breaks,
        worse="less",
    )


def _at_meal(gathered: Gathered, line: Line | None) -> float | None:
    return line.value_at(gathered.window.start_ms) if line is not None else None


def _words(factor: str, value: PreyState | FedIn | None) -> Measured:
    word = value.value if value is not None else None
    return Measured(factor, word, "common practice", rank_by=word)
