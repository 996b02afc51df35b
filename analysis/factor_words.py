"""A factor in a keeper's words and units: its value, its rule, its rank. Never a word about why."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from analysis.different import Different
from analysis.factors import FEWEST, Factor
from analysis.measured import COMING_BACK, DOSE, HUMIDITY, limit_names
from analysis.measured_keeping import SHED, SINCE, SINCE_BACK, handling_name, shed_sign
from analysis.measured_prey import CONTRAST, FED_IN, SHARE, STATE, WARM_SIDE, WIDTH
from analysis.reasons import level, limit_figure
from analysis.verdict import Held
from analysis.words import (
    NOT_KNOWN,
    local_day,
    mass,
    plain,
    shown_temperature,
    temperature_unit,
    whole_hours,
    width,
)
from config.care import Limit


@dataclass(frozen=True, slots=True)
class Telling:
    """A factor's words. `beyond` and `as_far` go before and after "all 35 other meals …".

    `lead` is whose the value is, where the value alone does not say it: "prey", "warm side".
    """

    name: str
    value: str
    rule: str | None
    beyond: str
    as_far: str
    lead: str = ""

    @property
    def in_a_row(self) -> str:
        """The value as one of several in a row."""
        return f"{self.lead} {self.value}".strip()


Teller = Callable[[Factor, Different], Telling]


def telling(factor: Factor, of: Different) -> Telling:
    """The words of one factor. A factor that is not known has the value "not known"."""
    limits = dict(zip(limit_names(of.care.limits), of.care.limits, strict=True))
    if factor.factor in limits:
        held = dict(zip(limits, of.review.held, strict=False))  # none without a probe
        return _of_limit(factor, of, limits[factor.factor], held.get(factor.factor))
    if factor.factor == handling_name(of.care):
        return _handling(factor, of)
    return _TELLERS[factor.factor](factor, of)


def rank_words(factor: Factor, of: Different) -> str:
    """How the meal compares with what the animal kept down; empty where nothing can be set beside.

    "Colder for longer than all 35 meals Pilchard kept down"; "3 of the 35 meals Pilchard kept down
    had as long a cold spell, or longer".
    """
    if factor.among is None:
        return ""
    words, who = telling(factor, of), plain(of.review.animal)
    n, as_far_out = factor.among.n, factor.among.rank - 1
    if as_far_out == 0:
        few = ", too few to call it unusual" if n < FEWEST else ""
        meals = f"all {n} other meals" if n > 1 else "the one other meal"
        return _upper(f"{words.beyond} {meals} {who} kept down{few}")
    one = as_far_out == 1 and words.as_far.startswith("were ")
    as_far = f"was {words.as_far[5:]}" if one else words.as_far
    if as_far_out == n:
        every = f"all {n} other meals" if n > 1 else "the one other meal"
        return _upper(f"{every} {who} kept down {as_far}")
    return f"{as_far_out} of the {n} other meals {who} kept down {as_far}"


def clear(value: float, limit: float | None, decimals: int = 0) -> str:
    """A number with so few decimals as still leave it on its side of the limit: 20.1 beside 20."""
    for places in range(decimals, 6):
        text = f"{value:.{places}f}"
        if limit is None or _side(float(text), limit) == _side(value, limit):
            return _signed(text)
    return _signed(f"{value:g}")


def _side(value: float, limit: float) -> int:
    return (value > limit + 1e-9) - (value < limit - 1e-9)


def _signed(text: str) -> str:
    short = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if short == "-0" else short.replace("-", "−")


# ---- the warm side --------------------------------------------------------------------------


def _of_limit(factor: Factor, of: Different, limit: Limit, held: Held | None) -> Telling:
    at = level(limit.level_c, of.settings)
    within = f" in the first {limit.within_hours:g} h" if limit.within_hours else ""
    spell = limit.of == "longest spell"
    how = " at a stretch" if spell else " in all"
    name = f"warm side {limit.side} {at}{how if spell else ''}{within}"
    value = NOT_KNOWN
    if held is not None and factor.value is not None:
        value = limit_figure(held, of.settings) if held.hours > 0 else f"never {limit.side} {at}"
        if held.hours <= 0:
            value += within
    beyond, as_far = _extremes(limit, f"{limit.side} {at}")
    rule = f"under {limit.hours:g} h{how}{within}"
    return Telling(name, value, rule, beyond, as_far, "warm side")


def _extremes(limit: Limit, where: str) -> tuple[str, str]:
    if limit.of == "longest spell":
        word = "colder" if limit.side == "below" else "hotter"
        return f"{word} for longer than", f"were {where} at a stretch for as long, or longer"
    return f"longer {where} than", f"were {where} for as long, or longer"


def _dose(factor: Factor, of: Different) -> Telling:
    scale, unit = _degree(of)
    floor = level(of.care.climate.preferred.low, of.settings)
    value = NOT_KNOWN
    if isinstance(factor.value, float):
        amount = factor.value * scale
        value = (
            f"{amount:,.0f} {unit}·h below {floor}" if factor.value > 0 else f"none below {floor}"
        )
        if 0 < amount < 0.5:
            value = f"under 1 {unit}·h below {floor}"
    return Telling(
        "cold, by degree-hours", value, None, "colder by degree-hours than", "had as many, or more"
    )


def _degree(of: Different) -> tuple[float, str]:
    scale = 1.8 if of.settings.show.temperature == "degF" else 1.0
    return scale, temperature_unit(of.settings)


# ---- the prey -------------------------------------------------------------------------------


def _share(factor: Factor, of: Different) -> Telling:
    value = NOT_KNOWN
    if isinstance(factor.value, float):
        whole, body = of.gathered.meal.mass_g, of.gathered.body_mass_g
        value = f"{clear(factor.value, factor.limit)} % of its body mass"
        if whole is not None and body is not None:
            value += f" ({mass(whole, of.settings)} of {mass(body, of.settings)})"
    rule = f"at most {factor.limit:g} %" if factor.limit is not None else None
    return Telling(
        "prey mass", value, rule, "larger for its body than", "were as large, or larger", "prey"
    )


def _width(factor: Factor, of: Different) -> Telling:
    value = NOT_KNOWN
    inches = of.settings.show.length == "in"
    scale, unit, places = (1 / 25.4, "in", 2) if inches else (1.0, "mm", 1)
    if isinstance(factor.value, float):
        over, limit = factor.value * scale, (factor.limit or 0.0) * scale
        amount = clear(abs(over), limit if over > 0 else None, places)
        way = "wider" if over > 0 else "narrower"
        value = f"{amount} {unit} {way} than the animal at mid-body"
        if amount == "0":
            value = "as wide as the animal at mid-body"
    rule = f"at most {width(factor.limit, of.settings)} wider"
    return Telling(
        "prey width", value, rule, "wider for its body than", "were as wide, or wider", "prey"
    )


def _contrast(factor: Factor, of: Different) -> Telling:
    scale, unit = _degree(of)
    side = "warm side" if factor.basis.endswith(WARM_SIDE) else "cool side"
    value = NOT_KNOWN
    if isinstance(factor.value, float):
        over, limit = factor.value * scale, (factor.limit or 0.0) * scale
        way = "warmer" if over > 0 else "colder"
        surface_c = of.gathered.meal.prey_surface_c
        shown = shown_temperature(surface_c, of.settings) if surface_c is not None else 0.0
        amount = clear(abs(over), limit if over > 0 else None, 1)
        value = f"surface {shown:.1f} {unit}, {amount} {unit} {way} than the {side}"
    rule = f"at least {(factor.limit or 0.0) * scale:g} {unit} warmer than the enclosure"
    return Telling(
        "prey warmth",
        value,
        rule,
        "less warm beside the enclosure than",
        "were no warmer beside it",
        "prey",
    )


def _state(factor: Factor, _of: Different) -> Telling:
    word = str(factor.value) if factor.value is not None else NOT_KNOWN
    return Telling("prey state", word, None, f"{word}, unlike", f"were {word}, too", "prey")


def _fed_in(factor: Factor, _of: Different) -> Telling:
    words = {"enclosure": "fed in its enclosure", "box": "fed in a box"}
    value = words.get(str(factor.value), NOT_KNOWN)
    return Telling("place", value, None, f"{value}, unlike", f"were {value}, too")


# ---- keeping --------------------------------------------------------------------------------


def _since(factor: Factor, _of: Different, *, event: str) -> Telling:
    value = NOT_KNOWN
    if isinstance(factor.value, float):
        days = clear(factor.value, factor.limit)
        value = f"{days} {'day' if days == '1' else 'days'} after {event}"
    return Telling(
        "interval" if event == "the meal before" else "rest",
        value,
        f"at least {factor.limit:g} days",
        "sooner after the meal before than",
        "were as soon, or sooner",
    )


def _handling(factor: Factor, _of: Different) -> Telling:
    value = "no handling entered"
    if isinstance(factor.value, float):
        after = whole_hours(factor.value)
        value = f"handled {after} after it" if factor.value > 0 else "handled as it was taken"
    rule = f"no handling for {factor.limit:g} h"
    return Telling(
        "handling",
        value,
        rule,
        "handled sooner than after",
        "were followed by handling as soon, or sooner",
    )


def _shed(factor: Factor, of: Different) -> Telling:
    sign, zone = shed_sign(of.gathered, of.care), of.settings.zone
    if sign is None or not isinstance(factor.value, float):
        value = "no shed near" if factor.finding != "unknown" else NOT_KNOWN
    elif factor.value == 0:
        value = f"in shed at the meal, noted on {local_day(sign, zone)}"
    else:
        days = clear(factor.value, factor.limit)
        value = f"old skin found {days} {'day' if days == '1' else 'days'} after it"
    rule = f"no meal in shed, nor within {factor.limit:g} days before the skin comes off"
    return Telling(
        "shed", value, rule, "nearer to a shed than", "were as near to a shed, or nearer"
    )


# ---- air, and the end -----------------------------------------------------------------------


def _humidity(factor: Factor, of: Different) -> Telling:
    span = of.care.climate.humidity
    value = NOT_KNOWN
    if isinstance(factor.value, float):
        pct = clear(100 * factor.value, 100 * (factor.limit or 0.0))
        where = f"{span.low:g} to {span.high:g} %"
        share = "under 1" if pct == "0" else pct
        value = f"humidity outside {where} for {share} % of the known time"
        if factor.value == 0:
            value = f"humidity within {where}"
    rule = f"outside it for at most {100 * (factor.limit or 0.0):g} % of the time"
    return Telling(
        "humidity", value, rule, "out of range for more of the time than",
        "were out of range for as much of the time, or more",
    )  # fmt: skip


def _coming_back(factor: Factor, of: Different) -> Telling:
    span = of.care.feeding.infection_hours
    hours = factor.value if isinstance(factor.value, float) else None
    value = f"came back after {whole_hours(hours)}" if hours is not None else NOT_KNOWN
    rule = f"{span.low:g} to {span.high:g} h after a meal, from a warm enclosure, is for a vet"
    return Telling("time to coming back", value, rule, "", "")


_TELLERS: Mapping[str, Teller] = {
    DOSE: _dose,
    SHARE: _share,
    WIDTH: _width,
    SINCE: partial(_since, event="the meal before"),
    SINCE_BACK: partial(_since, event="the meal before came back"),
    CONTRAST: _contrast,
    STATE: _state,
    FED_IN: _fed_in,
    SHED: _shed,
    HUMIDITY: _humidity,
    COMING_BACK: _coming_back,
}


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
