"""Amounts as a keeper writes them: "220g", "7.8 oz", "1,6 in", "100F". Pure, and light.

A number without a unit is in the unit of the home's settings. A comma is a decimal comma, except
where it could as well part thousands ("1,830"): then both ways to write it are named.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from analysis.words import GRAMS_PER_OUNCE, MM_PER_INCH
from config.errors import Unusable
from config.settings import Settings

_DIGITS: Final = 4  # kept behind the point: far finer than any scale or rule in a keeper's hand

_AMOUNT = re.compile(r"([+-]?[0-9]{1,12}(?:[.,][0-9]{1,12})?)\s*([^\s0-9.,+-][^0-9]*)?")
_EITHER = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")

Convert = Callable[[float], float]


def _times(factor: float) -> Convert:
    return lambda value: value * factor


@dataclass(frozen=True)
class Kind:
    """A kind of amount: what it is called, how units become the one it is kept in, an example."""

    name: str
    units: Mapping[str, Convert]
    example: str


_GRAMS = _times(1.0)
_KILOGRAMS = _times(1000.0)
_OUNCES = _times(GRAMS_PER_OUNCE)
_POUNDS = _times(16 * GRAMS_PER_OUNCE)
_MASSES: Mapping[str, Convert] = {
    "g": _GRAMS, "gram": _GRAMS, "grams": _GRAMS,
    "kg": _KILOGRAMS, "kilogram": _KILOGRAMS, "kilograms": _KILOGRAMS,
    "oz": _OUNCES, "ounce": _OUNCES, "ounces": _OUNCES,
    "lb": _POUNDS, "lbs": _POUNDS, "pound": _POUNDS, "pounds": _POUNDS,
}  # fmt: skip
_INCHES = _times(MM_PER_INCH)
_FEET = _times(12 * MM_PER_INCH)
_WIDTHS: Mapping[str, Convert] = {
    "mm": _times(1.0), "cm": _times(10.0), "m": _times(1000.0),
    "in": _INCHES, "inch": _INCHES, "inches": _INCHES, '"': _INCHES, "″": _INCHES,
    "ft": _FEET, "feet": _FEET, "foot": _FEET, "'": _FEET, "′": _FEET,
}  # fmt: skip


def _celsius(value: float) -> float:
    return value


def _fahrenheit(value: float) -> float:
    return (value - 32.0) / 1.8


_TEMPERATURES: Mapping[str, Convert] = {
    "c": _celsius, "°c": _celsius, "cel": _celsius, "℃": _celsius,
    "f": _fahrenheit, "°f": _fahrenheit, "degf": _fahrenheit, "℉": _fahrenheit,
}  # fmt: skip
_MINUTES: Mapping[str, Convert] = {
    "min": _times(1.0), "m": _times(1.0), "minute": _times(1.0), "minutes": _times(1.0),
    "h": _times(60.0), "hour": _times(60.0), "hours": _times(60.0),
}  # fmt: skip

MASS = Kind("a mass", _MASSES, "220g or 7.8oz")
WIDTH = Kind("a width", _WIDTHS, "41mm, 4.1cm or 1.6in")
TEMPERATURE = Kind("a temperature", _TEMPERATURES, "38C or 100F")
MINUTES = Kind("a time in minutes", _MINUTES, "10 or 10min")


def mass_g(text: str, settings: Settings, name: str) -> float:
    """A mass in g; `name` names the entry in the error. Raises Unusable, one line."""
    return _read(text, MASS, settings.show.mass, name)


def width_mm(text: str, settings: Settings, name: str) -> float:
    """A width in mm. Raises Unusable."""
    return _read(text, WIDTH, settings.show.length, name)


def length_cm(text: str, settings: Settings, name: str) -> float:
    """A length of an animal in cm; without a unit in cm, or in inches. Raises Unusable."""
    own = "in" if settings.show.length == "in" else "cm"
    return round(_read(text, Kind("a length", _WIDTHS, "182cm or 71.7in"), own, name) / 10, _DIGITS)


def temperature_c(text: str, settings: Settings, name: str) -> float:
    """A temperature in °C. Raises Unusable."""
    own = "degf" if settings.show.temperature == "degF" else "c"
    return _read(text, TEMPERATURE, own, name)


def minutes(text: str, name: str) -> float:
    """A duration in minutes. Raises Unusable."""
    return _read(text, MINUTES, "min", name)


def is_mass(text: str) -> bool:
    """True for what could be meant as a mass, whether it can be used or not."""
    match = _AMOUNT.fullmatch(text.strip())
    return match is not None and (match[2] is None or _unit(match[2]) in _MASSES)


def _read(text: str, kind: Kind, own_unit: str, name: str) -> float:
    match = _AMOUNT.fullmatch(text.strip())
    if match is None:
        raise Unusable(f"{name}: {_shown(text)} is not {kind.name}; write {kind.example}")
    number, unit = match[1], _unit(match[2]) if match[2] else own_unit
    if unit not in kind.units:
        shown = (match[2] or "").strip()
        raise Unusable(f"{name}: {shown!r} is no unit of {kind.name}; write {kind.example}")
    if _EITHER.fullmatch(number):
        whole, parts = number.split(",")
        raise Unusable(
            f"{name}: {_shown(text)} can be read two ways; write {whole}{parts} or {whole}.{parts}"
        )
    return round(kind.units[unit](float(number.replace(",", "."))), _DIGITS)


def _unit(text: str) -> str:
    return "".join(text.split()).rstrip(".").lower()


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")
