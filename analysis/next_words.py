"""The next meal in a keeper's words."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

from analysis import words
from analysis.fit_today import Fit
from analysis.next_meal import NextMeal
from analysis.portion import Portion
from config.settings import Settings

CAUTION = "It is not veterinary advice: what a vet says overrides it."
_MM_PER_INCH = 25.4


def sentences(of: NextMeal, settings: Settings) -> list[str]:
    """When, why not yet, what, and whether today; a sentence or two each."""
    return [
        f"{words.plain(of.animal)}: {when(of)}.",
        *(f"{_upper(wait.why)}. [{_author(wait.basis)}]" for wait in of.holding),
        *_vet(of),
        what(of.portion, settings),
        _fit(of.fit),
    ]


def when(of: NextMeal) -> str:
    """The day in words, without the animal's name."""
    if of.open_ended:
        rules = {wait.rule for wait in of.open_ended}
        if "vet" in rules:
            return "no meal before a vet has seen it"
        return f"in shed; no meal before it is over, and not before {_day(of.not_before)}"
    if of.not_before > of.today:
        return f"not before {_day(of.not_before)}"
    if of.last_meal is None:
        return "no meal in the book yet; nothing speaks against one today"
    if of.due is not None and of.due < of.today:
        return f"a meal is due since {_day(of.due)}"
    return "a meal may be given today" + (f", by {_day(of.due)} at the latest" if of.due else "")


def what(of: Portion | None, settings: Settings) -> str:
    """What to offer: mass, kind, width, energy."""
    if of is None:
        return "How much is not known: weigh it first (no weighing in the last 90 days)."
    low, high = words.mass(of.low_g, settings), words.mass(of.high_g, settings)
    size = high if low == high else f"{low} to {high}"
    kind = of.kind if of.kind is not None else "one item; no kind in the prey table weighs that"
    text = f"Offer {size}: {kind}"
    if of.width_mm is not None:
        text += f", no wider than {_length(of.width_mm, settings)}"
    if of.low_kcal is not None and of.high_kcal is not None:
        text += f"; about {of.low_kcal:.0f} to {of.high_kcal:.0f} kcal"
    half = " Half the usual size, after a meal that came back." if of.halved else ""
    return f"{text}.{half}"


def _vet(of: NextMeal) -> Iterator[str]:
    told = {wait.why for wait in of.holding}
    yield from (f"See a vet: {why}." for why in of.vet if why not in told)
    if of.vet:
        yield CAUTION


def _fit(of: Fit) -> str:
    why = "; ".join(of.reasons)
    if of.fit is None:
        return f"Whether the enclosure is fit today is not known: {why}. Look for yourself."
    return "The enclosure is fit for a meal today." if of.fit else f"Not fit today: {why}."


def _length(value_mm: float, settings: Settings) -> str:
    if settings.show.length == "in":
        return f"{value_mm / _MM_PER_INCH:.1f} in"
    return f"{value_mm:.0f} mm"


def _day(day: date) -> str:
    noon_ms = round(datetime(day.year, day.month, day.day, 12, tzinfo=UTC).timestamp() * 1000)
    return f"{words.local_day(noon_ms, UTC)} {day.year}"


def _author(basis: str) -> str:
    """Who says so, without what it says."""
    return basis.split(": ", maxsplit=1)[0]


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
