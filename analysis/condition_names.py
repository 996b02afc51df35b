"""What a condition is called when meals with it are set beside meals without it, and its units."""

from __future__ import annotations

import re
from typing import NamedTuple

from analysis.words import shown_temperature, temperature_unit
from config.settings import Settings

_MET = {
    "longest cold spell": "a cold spell of {limit:g} h or longer",
    "hours too hot": "too hot for {limit:g} h or longer",
    "prey share of body mass": "prey over {limit:g} % of body mass",
    "days since the meal before came back": "fed within {limit:g} days of one that came back",
}
"""What meeting a condition means, where its limit is one for all meals."""

_MET_ANY_LIMIT = {
    "longest cold spell": "a cold spell past its limit",
    "hours too hot": "too hot for longer than its limit",
    "prey share of body mass": "large prey for the animal",
    "prey width over mid-body": "prey much wider than the animal at mid-body",
    "days since the meal before": "fed sooner than the interval for its age",
    "days since the meal before came back": "fed too soon after a meal that came back",
    "prey surface contrast": "prey hardly warmer than the enclosure",
    "prey state": "prey fresh or live, not thawed",
    "fed in": "fed in a box",
    "shed near": "fed in shed or shortly before",
    "humidity out of range": "air too dry or too moist for long",
}
"""The same whatever the limit. A condition that is in neither stands by its own name."""

_AMOUNTS = {
    "degree-hours below the floor": "cold taken in (degrees below the floor × hours)",
    "prey share of body mass": "share of prey in body mass",
}

_LEVEL = re.compile(r"(\d+(?:\.\d+)?) °C")


class Unit(NamedTuple):
    """How an amount is shown: its symbol, how many of it one is, and the step odds are told for."""

    symbol: str
    scale: float
    step: float


def met_name(condition: str, limit: float | None, settings: Settings) -> str:
    """What "with it" means for a condition, in the keeper's units."""
    if limit is not None and condition in _MET:
        return _MET[condition].format(limit=limit)
    if condition in _MET_ANY_LIMIT:
        return _MET_ANY_LIMIT[condition]
    here = _LEVEL.sub(lambda found: _level(float(found[1]), settings), condition)
    if limit is not None and here.startswith("hours "):
        return f"{limit:g} h or more {here.removeprefix('hours ')}"
    return f"{here}, past the limit" if here.startswith(("hours ", "longest ")) else here


def _level(level_c: float, settings: Settings) -> str:
    return f"{round(shown_temperature(level_c, settings), 1):g} {temperature_unit(settings)}"


def amount_name(condition: str) -> str:
    """What an amount is called."""
    return _AMOUNTS.get(condition, condition)


def amount_unit(condition: str, settings: Settings) -> Unit:
    """The unit of an amount, as the keeper's settings have it."""
    if condition == "degree-hours below the floor":
        fahrenheit = settings.show.temperature == "degF"
        symbol = f"{temperature_unit(settings)}·h"
        return Unit(symbol, 1.8, 20.0) if fahrenheit else Unit(symbol, 1.0, 10.0)
    return Unit("%", 1.0, 5.0)
