"""An animal's condition in a keeper's words."""

from __future__ import annotations

from collections.abc import Iterator

from analysis import words
from analysis.body_look import LookScore
from analysis.condition import Condition
from analysis.food import Food
from analysis.weights import ScaledMass, Trend
from config.settings import Settings

CAUTION = "It is not veterinary advice: what a vet says overrides it."


def sentences(of: Condition, settings: Settings) -> list[str]:
    """How it is, then why: vet, look, mass, trend, loss, food, mass for length, what to change."""
    return [
        headline(of, settings),
        *(f"See a vet: {sign.says}. [{sign.basis}]" for sign in of.vet),
        *_look(of.look),
        *_contradiction(of),
        *_trend(of),
        *_loss(of, settings),
        *_food(of.food, settings, grown=of.grown),
        *_scaled(of.scaled_mass, settings),
        *_signs(of),
    ]


def headline(of: Condition, settings: Settings) -> str:
    """The one sentence: "Maren: ordinary by its weights and food; 1,240 g, weighed 5 days ago"."""
    return f"{words.plain(of.animal)}: {state_words(of, settings)}."


def state_words(of: Condition, settings: Settings) -> str:
    """The same without the animal's name: "ordinary by weights and food; 1,240 g, weighed …"."""
    vet = "see a vet; " if of.why_a_vet else ""
    if of.state == "not known":
        state = "whether it is thin or heavy is not known"
    else:
        state = f"{of.state} by " + ("the last look at it" if of.by_look else "weights and food")
    return f"{vet}{state}; {_mass(of, settings)}"


def _mass(of: Condition, settings: Settings) -> str:
    if of.mass_g is None or of.mass_at_ms is None:
        return "never weighed"
    when = words.age((of.at_ms - of.mass_at_ms) / 1000)
    return f"{words.mass(of.mass_g, settings)}, weighed {when}"


def _look(of: LookScore | None) -> Iterator[str]:
    if of is None:
        yield "Nobody has written down a look at it: spine, ribs, skin, tail, vent, neck."
        return
    when = words.age(of.days_ago * 86_400)
    says = "says nothing either way" if of.state == "not known" else f"said {of.state}"
    old = "" if of.fresh else " It is too long ago to count; look again."
    yield f"The look {when} {says}: {', '.join(of.because)}.{old} [{of.basis}]"


def _contradiction(of: Condition) -> Iterator[str]:
    if of.contradiction is not None:
        says = of.contradiction
        yield f"{says[:1].upper()}{says[1:]}: weigh it and look again. The look counts for more."


def _trend(of: Condition) -> Iterator[str]:
    if of.trend is None:
        if of.mass_g is not None:
            yield "Too few weighings in the last half year for a trend."
        return
    yield _of_trend(of.trend)


def _of_trend(of: Trend) -> str:
    over = f"{of.weighings} weighings over {of.days:.0f} days"
    inside = f", {of.with_meal_inside} of them with a meal inside" if of.with_meal_inside else ""
    if of.low_pct_month is None or of.high_pct_month is None:
        return f"Mass {_change(of.pct_month)} a month; {over}{inside} are too few to be sure."
    end = {
        "rising": "it is gaining",
        "falling": "it is losing",
        "steady": "it keeps its mass",
        "cannot tell": "which way it goes cannot be told yet",
    }[of.direction]
    return (
        f"Mass {_change(of.pct_month)} a month, 95 % interval {_signed(of.low_pct_month)} to "
        f"{_signed(of.high_pct_month)} % ({over}{inside}): {end}."
    )


def _loss(of: Condition, settings: Settings) -> Iterator[str]:
    lost = of.loss
    if lost is None or lost.pct < 1:
        return
    peak, _ = words.local_time(lost.peak_at_ms, settings.zone).split(",")
    # Rounded down: a text never says that a limit of 10 % was reached when it was not.
    yield f"{int(lost.pct)} % below its peak of {words.mass(lost.peak_g, settings)} ({peak})."


def _food(of: Food | None, settings: Settings, *, grown: bool) -> Iterator[str]:
    if of is None:
        yield "Fewer than four weeks of meals and weights: how much it was fed cannot be said."
        return
    least = "at least " if of.mass_unknown or of.share_unknown else ""
    share = f"{of.pct_month:.0f} % of its mass" if of.pct_month is not None else "share not known"
    young = " for a growing one" if grown else ""
    text = (
        f"Fed {least}{words.mass(of.g_month, settings)} a month over {of.days:.0f} days ({share}"
        f"; {of.usual_low_pct:.0f} to {of.usual_high_pct:.0f} % is usual{young})"
    )
    if of.kcal_month is None:
        text += ", energy not known"
    else:
        least = "at least " if of.energy_unknown else ""
        text += f", {least}about {words.energy(of.kcal_month)} kcal"
    count = words.count(of.came_back)
    meals = "meal" if of.came_back == 1 else "meals"
    yield f"{text}." + (f" Without {count} {meals} that came back." if of.came_back else "")


def _scaled(of: ScaledMass | None, settings: Settings) -> Iterator[str]:
    if of is None:
        return
    animals = "it alone" if of.animals == 1 else f"{words.count(of.animals)} animals"
    yield (
        f"Were it {words.body_length(of.length_cm, settings)} long, it would weigh "
        f"{words.mass(of.index_g, settings)}: {100 * of.of_median:.0f} % of the middle of your own "
        f"records (mass grows with length to the power of {of.exponent:.2f} in {of.records} "
        f"records of {animals}). "
        "[Peig & Green 2009, Oikos 118:1883 (formula from memory)]"
    )


def _signs(of: Condition) -> Iterator[str]:
    names = {"vet": "See a vet", "underfed": "Perhaps underfed", "overfed": "Perhaps overfed"}
    for sign in of.signs:
        yield f"{names[sign.kind]}: {sign.says}. [{sign.basis}]"
    if of.signs or of.vet:
        yield CAUTION


def _change(pct: float) -> str:
    return f"{_signed(pct)} %"


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−")
