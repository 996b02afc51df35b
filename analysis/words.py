"""Words for people: temperatures, masses, durations, dates.

Pure, and light: no numpy. Texts are shared by the page, the pictures, the tables and the alarms.
A number always has its unit and no false decimals (0.1 °C, whole hours); what is not known is
said as "not known". Days and months are English, whatever the machine's locale.
"""

from __future__ import annotations

import math
import unicodedata
from datetime import UTC, date, datetime, tzinfo

from config.settings import Settings

NOT_KNOWN = "not known"
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MM_PER_INCH = 25.4  # exact
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
GRAMS_PER_OUNCE = 28.349523125  # international avoirdupois pound of 1959 / 16, exact
_TINY_H = 1e-9  # so that 6 h of pieces that were rounded are 6 h


# ---- temperature and mass -------------------------------------------------------------------


def shown_temperature(value_c: float, settings: Settings) -> float:
    """A temperature in °C as a number in the keeper's unit."""
    return value_c * 1.8 + 32.0 if settings.show.temperature == "degF" else value_c


def temperature_unit(settings: Settings) -> str:
    """The keeper's unit of temperature: "°C" or "°F"."""
    return "°F" if settings.show.temperature == "degF" else "°C"


def temperature(value_c: float | None, settings: Settings) -> str:
    """A temperature to 0.1 with its unit: "31.2 °C"."""
    if value_c is None:
        return NOT_KNOWN
    return f"{_tenths(shown_temperature(value_c, settings))} {temperature_unit(settings)}"


def temperature_span(low_c: float | None, high_c: float | None, settings: Settings) -> str:
    """Two temperatures with one unit: "27.9 to 31.6 °C"."""
    if low_c is None or high_c is None:
        return NOT_KNOWN
    low = _tenths(shown_temperature(low_c, settings))
    return f"{low} to {temperature(high_c, settings)}"


def temperature_change(change_k: float | None, settings: Settings) -> str:
    """The size of a difference of temperature, without its sign: "1.5 °C"."""
    if change_k is None:
        return NOT_KNOWN
    scale = 1.8 if settings.show.temperature == "degF" else 1.0
    return f"{_tenths(abs(change_k) * scale)} {temperature_unit(settings)}"


def shown_mass(value_g: float, settings: Settings) -> float:
    """A mass in g as a number in the keeper's unit, that of `settings.show.mass`."""
    return value_g / GRAMS_PER_OUNCE if settings.show.mass == "oz" else value_g


def mass(value_g: float | None, settings: Settings) -> str:
    """A mass in whole grams (tenths under 10 g), or in ounces to 0.1: "1,240 g"."""
    if value_g is None:
        return NOT_KNOWN
    if settings.show.mass == "oz":
        return f"{shown_mass(value_g, settings):,.1f} oz"
    return f"{value_g:,.1f}".removesuffix(".0") + " g" if value_g < 10 else f"{value_g:,.0f} g"


def width(value_mm: float | None, settings: Settings) -> str:
    """A width to 0.1 mm, or in inches to three figures, without its sign: "3.2 mm", "0.126 in"."""
    if value_mm is None:
        return NOT_KNOWN
    if settings.show.length == "in":
        return f"{abs(value_mm) / MM_PER_INCH:.3g} in"
    return f"{abs(value_mm):.1f}".removesuffix(".0") + " mm"


def _tenths(value: float) -> str:
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text.replace("-", "−")


def mass_span(low_g: float, high_g: float, settings: Settings) -> str:
    """A window of masses to offer, with no finer steps than a keeper can buy: "120–180 g".

    Never outside the window: the low end is rounded up and the high end down, unless nothing is
    left between them.
    """
    size = GRAMS_PER_OUNCE if settings.show.mass == "oz" else 1.0
    low, high, unit = low_g / size, high_g / size, settings.show.mass
    step = _step(high, unit)
    first, last = math.ceil(low / step - 1e-9) * step, math.floor(high / step + 1e-9) * step
    if first >= last:
        first, last = low, high
    places = 1 if step < 1 or last < 10 else 0
    low_text, high_text = (f"{one:,.{places}f}".removesuffix(".0") for one in (first, last))
    return f"{high_text} {unit}" if low_text == high_text else f"{low_text}–{high_text} {unit}"


def _step(of: float, unit: str) -> float:
    """About a fiftieth of it, in steps that a scale or a shop has."""
    steps = (0.1, 0.5, 1.0) if unit == "oz" else (0.1, 1.0, 5.0, 10.0, 50.0)
    limits = (5.0, 50.0) if unit == "oz" else (10.0, 100.0, 250.0, 2000.0)
    return steps[sum(of >= limit for limit in limits)]


def length_at_most(value_mm: float, settings: Settings) -> str:
    """A width not to be passed, rounded down: "43 mm", or in inches to 0.1."""
    if settings.show.length == "in":
        return f"{math.floor(value_mm / MM_PER_INCH * 10 + 1e-9) / 10:.1f} in"
    return f"{math.floor(value_mm + 1e-9):,d} mm"


def energy(value_kcal: float) -> str:
    """An energy in kcal without its unit, to two digits: a table does not know it better."""
    rounded = float(f"{value_kcal:.2g}")
    return f"{rounded:,.0f}" if rounded >= 10 else f"{rounded:.1f}".removesuffix(".0")


def body_length(value_cm: float, settings: Settings) -> str:
    """An animal's length in whole cm or inches."""
    if settings.show.length == "in":
        return f"{value_cm * 10 / MM_PER_INCH:,.0f} in"
    return f"{value_cm:,.0f} cm"


# ---- durations ------------------------------------------------------------------------------


def hours(value_h: float | None) -> str:
    """A duration in whole hours that have passed, under one hour in whole minutes: "41 h".

    Rounded down, so that a text never says that a limit of 6 h was reached when it was not.
    """
    if value_h is None:
        return NOT_KNOWN
    if value_h >= 1 - _TINY_H:
        return f"{math.floor(value_h + _TINY_H):,d} h"
    minutes = math.floor(value_h * 60 + _TINY_H)
    return f"{minutes} min" if minutes >= 1 or value_h <= 0 else "under 1 min"


def years_or_months(months: int | None) -> str:
    """An age: "7 months old", from two years on "6 years old"."""
    if months is None:
        return "age not known"
    if months < 24:
        return f"{months} month old" if months == 1 else f"{months} months old"
    return f"{months // 12} years old"


def count(number: int) -> str:
    """A number of things, as a word up to ten."""
    return _COUNTS[number] if 0 <= number < len(_COUNTS) else f"{number:,d}"


def whole_hours(value_h: float | None) -> str:
    """A duration that is judged in hours, in whole hours that have passed: "7 h", "under 1 h".

    Rounded down, so that no limit seems reached that was not.
    """
    if value_h is None:
        return NOT_KNOWN
    if value_h >= 1 - _TINY_H:
        return f"{math.floor(value_h + _TINY_H):,d} h"
    return "under 1 h" if value_h > 0 else "0 h"


def hours_against(value_h: float, limit_h: float) -> str:
    """The same beside a limit that need not be whole: 1.7 h beside 1.5 h is "1.5 h or more"."""
    if math.floor(value_h + _TINY_H) < limit_h <= value_h + _TINY_H:
        return f"{limit_h:g} h or more"
    return whole_hours(value_h)


def about_days(value_d: float | None) -> str:
    """A modelled duration: "about 8 days". It is not known better than that."""
    if value_d is None:
        return NOT_KNOWN
    number = rounded_days(value_d)
    return f"about {number} day" if number == 1 else f"about {number} days"


def age(seconds: float | None) -> str:
    """How long ago: "2 min ago"; "never" for None. A time to come is said as such."""
    if seconds is None:
        return "never"
    if seconds < -60:
        return f"{_span(-seconds)} ahead of this clock"
    if seconds < 10:
        return "just now"
    return f"{_span(seconds)} ago"


def _span(seconds: float) -> str:
    for limit, size, unit in ((60, 1, "s"), (3600, 60, "min"), (172_800, 3600, "h")):
        if seconds < limit:
            return f"{math.floor(seconds / size)} {unit}"
    return f"{math.floor(seconds / 86_400):,d} days"


def rounded_days(value_d: float) -> int:
    """A modelled duration in whole days, at least 1."""
    return max(1, math.floor(value_d + 0.5))


# ---- dates ----------------------------------------------------------------------------------


def local_day(at_ms: int, zone: tzinfo) -> str:
    """The day in the home's zone: "Tue 3 Mar"."""
    day = _local(at_ms, zone).date()
    return named_day(day, day)


def local_day_of(at_ms: int, zone: tzinfo) -> date:
    """The home's day of a moment, as a date."""
    return _local(at_ms, zone).date()


def named_day(day: date, beside: date) -> str:
    """A day, with its year where that is not the year of `beside`: "Tue 3 Mar"."""
    text = f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"
    return text if day.year == beside.year else f"{text} {day.year}"


def local_clock(at_ms: int, zone: tzinfo) -> str:
    """The time of day in the home's zone: "21:40"."""
    return f"{_local(at_ms, zone):%H:%M}"


def local_time(at_ms: int | None, zone: tzinfo) -> str:
    """Day, year and time in the home's zone: "Tue 3 Mar 2026, 21:40"."""
    if at_ms is None:
        return NOT_KNOWN
    return f"{local_day(at_ms, zone)} {_local(at_ms, zone).year}, {local_clock(at_ms, zone)}"


def day_number(at_ms: int, since_ms: int) -> int:
    """Which day after a meal a moment is on: its first 24 h are day 1."""
    return (at_ms - since_ms) // DAY_MS + 1


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone)


# ---- a keeper's own words --------------------------------------------------------------------


def plain(text: str) -> str:
    """A keeper's own words on one line, without marks that could turn a sentence round.

    Controls and line ends become spaces; marks that force a writing direction, and code points
    that no text or XML file may hold, go.
    """
    return " ".join("".join(_plain_sign(sign) for sign in text).split())


def _plain_sign(sign: str) -> str:
    kind, code = unicodedata.category(sign), ord(sign)
    if kind in ("Cc", "Zl", "Zp"):
        return " "
    forces_direction = 0x202A <= code <= 0x202E or 0x2066 <= code <= 0x2069
    never_a_character = kind == "Cs" or code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF
    return "" if forces_direction or never_a_character else sign
