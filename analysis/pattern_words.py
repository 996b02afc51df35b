"""A pattern in a keeper's words. Never more than the numbers show, and nothing about why."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from analysis.compared import Amount, YesNo
from analysis.condition_names import amount_name, amount_unit, met_name
from analysis.pattern import LEVEL, Judged, Pattern
from analysis.statistics.proportions import Share
from config.settings import Settings

CAUTION = (
    "That two things go together does not say that one brings the other. The warm side is the "
    "warmest an animal can have been; where it lay, nobody saw."
)


_AS_OFTEN_AS_NOT = 0.5
_BEYOND_DOUBT = 1e-3
"""A smallest p under this is no limit to what a book can show."""


def sentences(of: Pattern, settings: Settings) -> list[str]:
    """The whole pattern, a paragraph each, what matters first.

    What there is; what goes together, or that the book cannot decide; what is open; what could not
    be compared; how to read it.
    """
    return [
        *_opening(of),
        *_decided(of, settings),
        *_undecided(of, settings),
        *_too_few(of, settings),
        *_idle(of, settings),
        *_closing(of),
    ]


def sentence(one: Judged, settings: Settings) -> str:
    """One condition: its numbers, and what they can and cannot tell."""
    return f"{_numbers(one, settings)} {_meaning(one, settings)}"


# ---- the parts -------------------------------------------------------------------------------


def _opening(of: Pattern) -> Iterator[str]:
    if not of.meals:
        yield "No meal in the book has an outcome yet: there is nothing to compare."
    else:
        yield (
            f"{_count(of.meals, 'meal')} of {_count(of.animals, 'animal')} with a known outcome; "
            f"{of.came_back.count} came back: {_share(of.came_back)}."
        )
    left = []
    if of.left.outcome_open:
        left.append(f"{_count(of.left.outcome_open, 'meal')} with no outcome yet")
    if of.left.refused_or_not_taken:
        left.append(f"{_count(of.left.refused_or_not_taken, 'offer')} refused or not taken")
    if left:
        yield f"Not among them: {' and '.join(left)}."


def _decided(of: Pattern, settings: Settings) -> Iterator[str]:
    if of.meals and not of.named:
        yield "This book cannot decide: nothing in it stands out from chance." + _first(
            of, settings
        )
    for one in of.named:
        yield sentence(one, settings)


def _first(of: Pattern, settings: Settings) -> str:
    """The condition that the fewest more meals would decide."""
    told = [(one.more_meals, one) for one in of.judged if one.more_meals is not None]
    if not told:
        return " No number of meals like these would change that."
    more, one = min(told, key=lambda pair: pair[0])
    return (
        f" If meals go on like these, about {_round_up(more):,} more would decide the first thing: "
        f"{_phrase(one, settings)}."
    )


def _undecided(of: Pattern, settings: Settings) -> Iterator[str]:
    """What chance alone would not do as often as not, in full; the others in a line each."""
    undecided = sorted(
        (one for one in of.judged if one.state == "not decided"), key=lambda one: one.p or 0.0
    )
    alike = [one for one in undecided if _of_all(one) >= _AS_OFTEN_AS_NOT]
    for one in undecided[: len(undecided) - len(alike)]:
        yield sentence(one, settings)
    if alike:
        yield "Not decided, and no more different than chance brings:"
    for one in alike:
        yield f"- {_briefly(one, settings)}{_best(one, '; ')}"


def _too_few(of: Pattern, settings: Settings) -> Iterator[str]:
    few = [one for one in of.judged if one.state == "too few to show"]
    if not few:
        return
    yield (
        "Too few such meals to show anything, whatever had become of them (“at best”: how often "
        "chance alone brings the clearest ending that they could have had; it takes "
        f"{_odds(LEVEL)} or rarer, and more so the more is looked at):"
    )
    for one in few:
        yield f"- {_briefly(one, settings)}; at best {_odds(one.smallest_p or 1.0)}"


def _idle(of: Pattern, settings: Settings) -> Iterator[str]:
    idle = [_phrase(one, settings) for one in of.judged if one.state == "nothing to compare"]
    if of.meals and idle:
        yield (
            "Nothing to compare for: " + "; ".join(idle) + ". It takes meals of one animal, near "
            "in time, with and without it, of which one came back and one stayed down."
        )


def _closing(of: Pattern) -> Iterator[str]:
    if not of.meals:
        return
    if of.looked_at:
        yield (
            "How to read this: a meal that came back is set beside the same animal's meals near "
            "in time, and what builds up after a meal is counted for as many hours in all of "
            f"them. {_count(of.looked_at, 'condition')} could be compared; one is named only if "
            f"chance alone names any at all in no more than {_odds(LEVEL)} books like this. "
            "“27 to 61 %” is where a share may really lie (95 % interval)."
        )
    yield CAUTION


# ---- one condition ---------------------------------------------------------------------------


def _numbers(one: Judged, settings: Settings) -> str:
    of, name = one.of, _upper(_phrase(one, settings))
    if isinstance(of, YesNo):
        return (
            f"{name}: {of.with_it.count} of {of.with_it.of} came back "
            f"({_share(of.with_it)}); without, {of.without_it.count} of {of.without_it.of} "
            f"({_share(of.without_it)})."
        )
    unit = amount_unit(of.condition, settings)
    back, stayed = (_amount(mean, unit.scale) for mean in (of.mean_back, of.mean_stayed))
    return (
        f"{name}: on average {back} {unit.symbol} for the {of.came_back} that came back, "
        f"{stayed} {unit.symbol} for the {of.stayed_down} that stayed down."
    )


def _briefly(one: Judged, settings: Settings) -> str:
    of, name = one.of, _phrase(one, settings)
    if isinstance(of, Amount):
        return f"{name}: {of.came_back} came back, {of.stayed_down} stayed down"
    return (
        f"{name}: {of.with_it.count} of {of.with_it.of} came back; without, "
        f"{of.without_it.count} of {of.without_it.of}"
    )


def _meaning(one: Judged, settings: Settings) -> str:
    if one.state == "goes together":
        return f"They go together: {_chance(one)}.{_size(one, settings)}{_beside_earlier(one)}"
    return f"Not decided: {_chance(one)}{_best(one, '; ')}.{_more(one)}"


def _chance(one: Judged) -> str:
    """How often chance alone would do as much, all conditions counted."""
    what = "meals with it" if isinstance(one.of, YesNo) else "meals with more of it"
    seen = f"{what} came back {'more' if one.more_often else 'less'} often"
    return f"{seen}; chance alone does as much in {_odds(_of_all(one))} such books"


def _of_all(one: Judged) -> float:
    return one.corrected.p if one.corrected is not None else 1.0


def _best(one: Judged, before: str) -> str:
    """The smallest p there could have been, where a keeper would want to know."""
    best = one.corrected.smallest_p if one.corrected is not None else 1.0
    return f"{before}at best {_odds(best)}" if best > _BEYOND_DOUBT else ""


def _size(one: Judged, settings: Settings) -> str:
    of = one.of
    if isinstance(of, YesNo) or of.response is None:
        return ""
    unit = amount_unit(of.condition, settings)
    times, low, high = of.response.odds_times(unit.step / unit.scale)
    return (
        f" Every {unit.step:g} {unit.symbol} more multiplies the odds of coming back by about "
        f"{times:.2g} ({_end(low)} to {_end(high)}; {of.response.meals} meals)."
    )


def _beside_earlier(one: Judged) -> str:
    """Whether it could also be what a keeper changed after a meal came back."""
    if one.holds_beside_earlier:
        return " It shows beside earlier meals alone as well."
    return (
        " Beside earlier meals alone it does not show clearly: if something was changed after a "
        "meal came back (a heater mended, smaller prey), that may be all there is to it."
    )


def _more(one: Judged) -> str:
    if one.more_meals is None:
        return " No number of meals like these would decide it."
    return f" If meals go on like these, about {_round_up(one.more_meals):,} more would decide."


# ---- words -----------------------------------------------------------------------------------


def _phrase(one: Judged, settings: Settings) -> str:
    if isinstance(one.of, Amount):
        return amount_name(one.of.condition)
    return met_name(one.of.condition, one.of.limit, settings)


def _odds(p: float) -> str:
    """A chance as "1 in 28": never rarer than it is."""
    if p > 0.75:
        return "every time"
    if p > 0.4:
        return "1 in 2"
    return f"1 in {int(1 / p + 1e-9):,}" if p > 1e-6 else "fewer than 1 in a million"


def _share(share: Share) -> str:
    if share.share is None or share.low is None or share.high is None:
        return "no such meal"
    low, high = 100 * share.low, 100 * share.high
    return f"{100 * share.share:.0f} %; {low:.0f} to {high:.0f} %"


def _amount(value: float | None, scale: float) -> str:
    return "an unknown amount" if value is None else f"{value * scale:.1f}"


def _end(value: float | None) -> str:
    return "no end" if value is None else f"{value:.2g}"


def _round_up(meals: int) -> int:
    """Two figures are all such a number holds."""
    step: int = 10 ** max(0, len(str(meals)) - 2)
    return ceil(meals / step) * step


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
