"""A pattern in a keeper's words. Never more than the numbers show, and nothing about why."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from analysis.compared import Amount, YesNo
from analysis.pattern import LEVEL, Judged, Pattern
from analysis.statistics.proportions import Share

PHRASES = {
    "longest cold spell": "a cold spell past its limit",
    "hours too hot": "too hot for longer than its limit",
    "degree-hours below the floor": "degree-hours below the floor",
    "prey share of body mass": "large prey for the animal",
    "prey width over mid-body": "prey much wider than the animal at mid-body",
    "days since the meal before": "fed sooner than the interval",
    "days since the meal before came back": "fed too soon after a meal that came back",
    "prey surface contrast": "prey hardly warmer than the enclosure",
    "prey state": "prey fresh or live, not thawed",
    "fed in": "fed in a box",
    "shed near": "fed in shed or shortly before",
    "humidity out of range": "air too dry or too moist for long",
}
"""What "with it" means for a condition. One that is not here stands by its own name."""

AMOUNTS = {
    "degree-hours below the floor": ("degree-hours below the floor", "°C·h", 10.0),
    "prey share of body mass": ("share of prey in body mass", "%", 5.0),
}
"""An amount's name, its unit, and the step that its odds are told for."""

CAUTION = (
    "That two things go together does not say that one brings the other. The warm side is the "
    "warmest an animal can have been; where it lay, nobody saw."
)


def sentences(of: Pattern) -> list[str]:
    """The whole pattern, a paragraph each: what there is, what goes together, what is open."""
    return [*_opening(of), *map(sentence, of.named), *_open(of), *_closing(of)]


def sentence(one: Judged) -> str:
    """One condition: its numbers, and what they can and cannot tell."""
    return f"{_numbers(one)} {_meaning(one)}"


def _opening(of: Pattern) -> Iterator[str]:
    if not of.meals:
        yield "No meal in the book has an outcome yet: there is nothing to compare."
        return
    yield (
        f"{_count(of.meals, 'meal')} of {_count(of.animals, 'animal')} with a known outcome; "
        f"{of.came_back.count} came back: {_share(of.came_back)}."
    )
    if of.left.outcome_open:
        yield (
            f"{_count(of.left.outcome_open, 'meal')} more {_have(of.left.outcome_open)} no outcome "
            f"yet and could not be used."
        )
    if of.looked_at:
        yield (
            f"{_count(of.looked_at, 'condition')} looked at, each among the same animal's meals "
            f"near in time, and what builds up after a meal hour for hour. One is named only if "
            f"chance would name any at all in no more than {100 * LEVEL:.0f} % of books like this."
        )


def _open(of: Pattern) -> Iterator[str]:
    undecided = [one for one in of.judged if one.state == "not decided"]
    yield from map(sentence, sorted(undecided, key=lambda one: one.p or 0.0))
    few = [_briefly(one) for one in of.judged if one.state == "too few to show"]
    if few:
        yield (
            "Too few such meals to show anything, whatever had become of them: "
            + "; ".join(few)
            + "."
        )


def _closing(of: Pattern) -> Iterator[str]:
    if not of.meals:
        return
    idle = [_phrase(one) for one in of.judged if one.state == "nothing to compare"]
    if idle:
        yield (
            "Nothing to compare for: " + "; ".join(idle) + ". It takes meals of one animal, near "
            "in time, with and without it, of which one came back and one stayed down."
        )
    if not of.named:
        yield "This book cannot decide: nothing in it stands out from chance." + _nearest(of)
    yield CAUTION


def _nearest(of: Pattern) -> str:
    """The condition that the fewest more meals would decide."""
    told = [(one.more_meals, one) for one in of.judged if one.more_meals is not None]
    if not told:
        return " No number of meals like these would change that."
    more, one = min(told, key=lambda pair: pair[0])
    return f" About {_round_up(more):,} more meals like these would decide first: {_phrase(one)}."


# ---- one condition ---------------------------------------------------------------------------


def _numbers(one: Judged) -> str:
    of, name = one.of, _phrase(one)
    if isinstance(of, YesNo):
        return (
            f"{_upper(name)}: {of.with_it.count} of {of.with_it.of} came back "
            f"({_share(of.with_it)}); without, {of.without_it.count} of {of.without_it.of} "
            f"({_share(of.without_it)})."
        )
    unit = AMOUNTS.get(of.condition, ("", "", 1.0))[1]
    return (
        f"{_upper(name)}: on average {_amount(of.mean_back)} {unit} for the {of.came_back} that "
        f"came back, {_amount(of.mean_stayed)} {unit} for the {of.stayed_down} that stayed down."
    )


def _briefly(one: Judged) -> str:
    of, name = one.of, _phrase(one)
    if isinstance(of, Amount):
        return f"{name} ({of.came_back} came back)"
    return (
        f"{name} ({of.with_it.count} of {of.with_it.of} came back; without, "
        f"{of.without_it.count} of {of.without_it.of})"
    )


def _meaning(one: Judged) -> str:
    if one.state == "goes together":
        return f"They go together: {_chance(one)}{_size(one)}."
    if one.state == "too few to show":
        return f"Too few such meals to show anything, whatever had become of them.{_more(one)}"
    return f"Not decided: {_chance(one)}.{_more(one)}"


def _chance(one: Judged) -> str:
    """How often chance alone would do as much, all conditions counted."""
    p = one.corrected.p if one.corrected is not None else 1.0
    if one.more_often is None:
        return "there is no difference at all"
    if p >= 0.5:
        return "a difference like this is what chance brings"
    what = "meals with it" if isinstance(one.of, YesNo) else "meals with more of it"
    often = "more" if one.more_often else "less"
    books = f"{round(1 / p):,}" if p > 1e-6 else "a million or more"
    return f"{what} came back {often} often; chance alone does as much in 1 of {books} such books"


def _size(one: Judged) -> str:
    of = one.of
    if isinstance(of, Amount):
        if of.response is None:
            return ""
        _, unit, step = AMOUNTS.get(of.condition, ("", "", 1.0))
        times, low, high = of.response.odds_times(step)
        return (
            f"; for every {step:g} {unit} more, {times:.2g} times the odds "
            f"({_end(low)} to {_end(high)})"
        )
    return ""


def _more(one: Judged) -> str:
    if one.more_meals is None:
        return " No number of meals like these would decide it: there is hardly a difference."
    return f" If meals go on like these, about {_round_up(one.more_meals):,} more would decide."


# ---- words -----------------------------------------------------------------------------------


def _phrase(one: Judged) -> str:
    name = one.of.condition
    if isinstance(one.of, Amount):
        return AMOUNTS.get(name, (name, "", 1.0))[0]
    if name not in PHRASES and name.startswith(("hours ", "longest ")):
        return f"{name}, past the limit"
    return PHRASES.get(name, name)


def _share(share: Share) -> str:
    if share.share is None or share.low is None or share.high is None:
        return "no such meal"
    low, high = 100 * share.low, 100 * share.high
    return f"{100 * share.share:.0f} %; 95 % interval {low:.0f} to {high:.0f} %"


def _amount(value: float | None) -> str:
    return "an unknown amount" if value is None else f"{value:.1f}"


def _end(value: float | None) -> str:
    return "no end" if value is None else f"{value:.2g}"


def _round_up(meals: int) -> int:
    """Two figures are all such a number holds."""
    step: int = 10 ** max(0, len(str(meals)) - 2)
    return ceil(meals / step) * step


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def _have(number: int) -> str:
    return "has" if number == 1 else "have"


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
