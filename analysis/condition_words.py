"""An animal's condition in a keeper's words."""

from __future__ import annotations

from collections.abc import Iterator

from analysis import words
from analysis.condition import Condition
from analysis.food import Food
from analysis.weights import ScaledMass, Trend
from config.settings import Settings

CAUTION = "It is not veterinary advice: what a vet says overrides it."


def sentences(of: Condition, settings: Settings) -> list[str]:
    """The condition, a sentence or two each: mass, trend, loss, food, mass for length, signs."""
    return [
        *_mass(of, settings),
        *_trend(of.trend),
        *_loss(of, settings),
        *_food(of.food, settings),
        *_scaled(of.scaled_mass, settings),
        *_signs(of),
    ]


def _mass(of: Condition, settings: Settings) -> Iterator[str]:
    if of.mass_g is None or of.mass_at_ms is None:
        yield f"{words.plain(of.animal)}: never weighed, so that its condition is not known."
        return
    when = words.age((of.at_ms - of.mass_at_ms) / 1000)
    yield f"{words.plain(of.animal)}: {words.mass(of.mass_g, settings)}, weighed {when}."


def _trend(of: Trend | None) -> Iterator[str]:
    if of is None:
        yield "Too few weighings for a trend."
        return
    over = f"{of.weighings} weighings over {of.days:.0f} days"
    inside = f", {of.with_meal_inside} of them with a meal inside" if of.with_meal_inside else ""
    if of.low_pct_month is None or of.high_pct_month is None:
        yield f"Mass {_change(of.pct_month)} a month; {over}{inside} are too few to be sure."
        return
    end = {
        "rising": "it is gaining",
        "falling": "it is losing",
        "steady": "it keeps its mass",
        "cannot tell": "which way it goes cannot be told yet",
    }[of.direction]
    yield (
        f"Mass {_change(of.pct_month)} a month, 95 % interval {_signed(of.low_pct_month)} to "
        f"{_signed(of.high_pct_month)} % ({over}{inside}): {end}."
    )


def _loss(of: Condition, settings: Settings) -> Iterator[str]:
    lost = of.loss
    if lost is None or lost.pct <= 0:
        return
    peak, _ = words.local_time(lost.peak_at_ms, settings.zone).split(",")
    yield f"{lost.pct:.0f} % below its peak of {words.mass(lost.peak_g, settings)} ({peak})."


def _food(of: Food | None, settings: Settings) -> Iterator[str]:
    if of is None:
        return
    least = "at least " if of.mass_unknown or of.share_unknown else ""
    share = f"{of.pct_month:.0f} % of its mass" if of.pct_month is not None else "share not known"
    text = (
        f"Fed {least}{words.mass(of.g_month, settings)} a month over {of.days:.0f} days ({share}"
        f"; {of.usual_low_pct:.0f} to {of.usual_high_pct:.0f} % is usual)"
    )
    if of.kcal_month is not None:
        least = "at least " if of.energy_unknown else ""
        text += f", {least}{of.kcal_month:,.0f} kcal"
    came = f" {of.came_back} that came back not counted." if of.came_back else ""
    yield f"{text}.{came}"


def _scaled(of: ScaledMass | None, settings: Settings) -> Iterator[str]:
    if of is None:
        return
    yield (
        f"Scaled to a length of {of.length_cm:.0f} cm its mass is "
        f"{words.mass(of.index_g, settings)}, "
        f"{100 * of.of_median:.0f} % of the middle of your own animals (exponent "
        f"{of.exponent:.2f}, fitted to {of.records} records of {of.animals} of them)."
    )


def _signs(of: Condition) -> Iterator[str]:
    names = {"vet": "See a vet", "underfed": "Perhaps underfed", "overfed": "Perhaps overfed"}
    for sign in of.signs:
        yield f"{names[sign.kind]}: {sign.says}. [{sign.basis}]"
    if of.signs:
        yield CAUTION


def _change(pct: float) -> str:
    return f"{_signed(pct)} %"


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−")
