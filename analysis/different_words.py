"""What was different about a meal, told to a keeper: what stands out first, then one suggestion.

Nothing here says that one thing brought another: a rule that was broken is a place to begin.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

from analysis.different import Change, Different, Lever, levers_of, told_elsewhere
from analysis.factor_words import rank_words, telling
from analysis.factors import Factor, Finding
from analysis.meal_words import ending, meal_sentence
from analysis.measured import basis_text
from analysis.measured_keeping import SINCE_BACK
from analysis.measured_prey import STATE, WIDTH
from analysis.reasons import degrees, level
from analysis.unknown_words import NotKnown, not_known
from analysis.verdict_words import verdict_sentence
from analysis.vet import vet_text
from analysis.window import DAY_MS, came_back_ms
from analysis.words import local_day, mass, plain, width

BEFORE_ALL = (
    "A rule that was broken is a place to begin, no proof. Change one thing, wait, start again "
    "small: of several changed at once none can be told from the others."
)
"""Said once, after what was different about meals that came back."""


def headline(of: Different) -> str:
    """What happened, when, and the verdict."""
    window, meal = of.review.window, of.gathered.meal
    about_d = of.review.digestion.model_days_at_30c
    end = ending(meal, window.end_ms, window.ended_by, about_d)
    took = meal_sentence(meal, of.settings)
    return f"Meal {meal.meal}. {took}: {end}. {verdict_sentence(of.review)}"


def paragraphs(of: Different) -> list[tuple[str, list[str]]]:
    """A heading and its sentences, in the order in which they are told; empty ones left out."""
    who = plain(of.review.animal)
    found = [
        ("See a vet", [_sentence(f"{one.says}. Basis: {one.basis}") for one in of.review.vet]),
        ("Breaks a rule", [*_told(of, "breaks the rule")]),
        (f"Unusual for {who}", [*_told(of, "unusual for this animal")]),
        ("Ordinary", [*_ordinary(of)]),
        ("Not known", [*_unknown(of)]),
        ("One thing to change", suggestion(of)),
    ]
    return [(heading, lines) for heading, lines in found if lines]


def factor_sentence(factor: Factor, of: Different) -> str:
    """Value, rule, basis, rank: "Prey mass: 42 % of its body mass. Rule: at most 40 %. …"."""
    words = telling(factor, of)
    head = words.lead if words.lead == "warm side" else words.name
    rule = f"Rule: {words.rule}" if words.rule is not None else "There is no rule"
    said = f"{_upper(head)}: {words.value}. {rule}. Basis: {factor.basis}."
    rank = rank_words(factor, of)
    return f"{said} {rank}." if rank else said


def _told(of: Different, finding: Finding) -> Iterator[str]:
    for one in of.found(finding):
        if not told_elsewhere(one.factor):
            yield factor_sentence(one, of)


def _ordinary(of: Different) -> Iterator[str]:
    values = [telling(one, of).in_a_row for one in _worth_a_word(of)]
    if values:
        yield _sentence("; ".join(values))


def _worth_a_word(of: Different) -> Iterator[Factor]:
    """The ordinary factors; of a warm side that was never below a level, not the lower ones."""
    levers, never_cold = levers_of(of.care), False
    for one in of.found("ordinary"):
        if told_elsewhere(one.factor):
            continue
        no_cold = levers[one.factor] == "cold" and one.value == 0
        if no_cold and never_cold:
            continue
        never_cold = never_cold or no_cold
        yield one


def _unknown(of: Different) -> Iterator[str]:
    """What is missing, the same reason said once for all that it hides."""
    levers = levers_of(of.care)
    hidden: dict[NotKnown, dict[str, None]] = {}
    for one in of.found("unknown"):
        of_warm_side = levers.get(one.factor) in ("heat", "cold")
        name = "warm side" if of_warm_side else telling(one, of).name
        hidden.setdefault(not_known(one, of), {})[name] = None
    for gap, names in hidden.items():
        then = f" Next time: {gap.next_time}." if gap.next_time is not None else ""
        yield f"{_upper(', '.join(names))}: {gap.why}.{then}"


# ---- the one thing --------------------------------------------------------------------------


def suggestion(of: Different) -> list[str]:
    """The one thing to change, its ground, and how to begin again; none for a meal kept down."""
    if not of.came_back:
        return []
    change = of.change
    lines = [*_what(of, change)]
    if change is not None and len(change.broken) > 1:
        names = ", ".join(change.broken)
        lines.append(
            f"{len(change.broken)} things broke a rule ({names}): only changing one at a time can "
            "tell them apart. Which comes first is our order, not proof."
        )
    return [*lines, _after(of)]


def _what(of: Different, change: Change | None) -> Iterator[str]:
    vet = bool(of.review.vet)
    if vet:
        yield "First see a vet."
    if change is None:
        yield (
            "Nothing that was entered or read breaks a rule or is unusual: there is no one thing "
            "to change on this ground. What is not known comes first."
            if of.found("unknown")
            else "Nothing breaks a rule or is unusual: there is no one thing to change."
        )
        return
    advice = _advice(change, of)
    begin = f"If the vet finds nothing: {advice}" if vet else _upper(advice)
    ground = "breaks the rule" if change.broken else f"is unusual for {plain(of.review.animal)}"
    yield f"{begin}. Ground: {telling(change.factor, of).name} {ground}."


def _advice(change: Change, of: Different) -> str:
    factor, feeding = change.factor, of.care.feeding
    if factor.factor == WIDTH:
        return f"offer narrower prey, {_widest(of)}"
    if factor.factor == SINCE_BACK:
        days = feeding.rest_after_regurgitation_days.value
        return f"let it rest for {days:g} days after a meal that came back, then half the size"
    if factor.factor == STATE:
        return "offer prey as in the meals that it kept down (thawed, fresh or live)"
    return _advice_of(change.lever, of, factor)


def _advice_of(lever: Lever, of: Different, factor: Factor) -> str:
    care, settings = of.care, of.settings
    floor, hot = (
        level(c, settings) for c in (care.climate.preferred.low, care.climate.too_hot.value)
    )
    contrast = degrees(care.feeding.surface_contrast_c.value, settings)
    span = care.climate.humidity
    said: dict[Lever, str] = {
        "heat": f"keep the warm side under {hot}: look at thermostat and probe",
        "cold": f"keep the warm side at {floor} or more while it digests: look for why it fell "
        "(heater, thermostat, fuse, a probe out of its place)",
        "prey size": f"offer smaller prey, {_largest(of)}",
        "interval": f"leave at least {factor.limit or 0:g} days between meals",
        "handling": f"leave it alone for {care.feeding.no_handling_hours.value:g} h after a meal",
        "prey warmth": "thaw the prey right through, then warm it until its surface is at least "
        f"{contrast} warmer than the enclosure; a surface does not show a frozen core",
        "shed": "offer no meal from dull skin on until the old skin is off",
        "place": "feed it where it was fed in the meals that it kept down",
        "air": f"bring humidity to {span.low:g} to {span.high:g} % (sources disagree)",
    }
    return said[lever]


def _largest(of: Different) -> str:
    pct, body_g = of.care.feeding.prey_share_large.value, of.gathered.body_mass_g
    if body_g is None:
        return f"at most {pct:g} % of its body mass"
    most = mass(body_g * pct / 100, of.settings)
    return f"at most {pct:g} % of its body mass ({most} at {mass(body_g, of.settings)})"


def _widest(of: Different) -> str:
    rule, body_mm = of.care.feeding.width_over_midbody_mm.value, of.gathered.midbody_mm
    if body_mm is None:
        return f"at most {width(rule, of.settings)} wider than it is at mid-body"
    return f"at most {width(body_mm + rule, of.settings)} at its widest"


def _after(of: Different) -> str:
    """How to begin again; or, where it was begun, what became of the meals since."""
    since, who = of.since, plain(of.review.animal)
    if since.taken:
        kept = f"{since.stayed_down} stayed down, {since.came_back} came back"
        open_still = since.taken - since.stayed_down - since.came_back
        rest = f", {open_still} without an outcome yet" if open_still else ""
        meals = "1 meal" if since.taken == 1 else f"{since.taken} meals"
        return f"Since then {who} took {meals}: {kept}{rest}."
    return _begin_again(of)


def _begin_again(of: Different) -> str:
    feeding, meal = of.care.feeding, of.gathered.meal
    rest, part = feeding.rest_after_regurgitation_days, feeding.share_after_regurgitation
    back_ms = came_back_ms(meal)
    until = ""
    if back_ms is not None:
        until = f", until {local_day(back_ms + round(rest.value * DAY_MS), of.settings.zone)}"
    size = f", about {mass(meal.mass_g * part.value, of.settings)}" if meal.mass_g else ""
    only = "Change only that, wait" if of.change is not None else "Wait"
    return (
        f"{only} {rest.value:g} days{until}, then start small: a meal "
        f"{_part(part.value)} the size{size} ({basis_text(rest)})."
    )


def _part(share: float) -> str:
    return "half" if share == 0.5 else f"{100 * share:.0f} % of"


# ---- as JSON --------------------------------------------------------------------------------


def different_json(of: Different) -> dict[str, object]:
    """The same as one JSON object; figures unrounded, texts in the keeper's units."""
    return {
        "meal": of.review.meal,
        "animal": of.review.animal,
        "headline": headline(of),
        "outcome": of.review.outcome.value if of.review.outcome is not None else None,
        "verdict": of.review.verdict,
        "possible": of.review.possible,
        "vet": [vet_text(sign) for sign in of.review.vet],
        "factors": [_factor_json(one, of) for one in of.review.factors],
        "change": _change_json(of),
        "since": asdict(of.since),
    }


def _factor_json(factor: Factor, of: Different) -> dict[str, object]:
    gap = not_known(factor, of) if factor.finding == "unknown" else None
    return {
        **asdict(factor),
        "says": factor_sentence(factor, of),
        "not_known": asdict(gap) if gap is not None else None,
    }


def _change_json(of: Different) -> dict[str, object] | None:
    change = of.change
    if change is None:
        return None
    return {
        "what": change.lever,
        "factor": change.factor.factor,
        "broken": list(change.broken),
        "says": suggestion(of),
    }


# ---- words ----------------------------------------------------------------------------------


def closing(told: Sequence[Different]) -> list[str]:
    """What is said once, after all meals: the caution where a meal came back."""
    return [BEFORE_ALL] if any(one.came_back for one in told) else []


def _sentence(text: str) -> str:
    return f"{_upper(text)}."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
