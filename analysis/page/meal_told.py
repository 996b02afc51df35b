"""One meal, told: its sentence, ribbon, plot, verdict, digestion and factors, ready to be shown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from analysis import verdict_words
from analysis.different import Different, different_meals, told_elsewhere
from analysis.different_words import paragraphs
from analysis.factor_words import rank_words, telling
from analysis.factors import Factor, Finding
from analysis.figures.climate_svg import climate_svg
from analysis.figures.meal_shape import circumstances, meal_climate
from analysis.gathering import gather
from analysis.meal_words import meal_sentence
from analysis.page.looking import Looking
from analysis.page.ribbons import ribbon_of, two_widths
from analysis.window import taken_at_ms
from collector.book.records import Meal

_ADVICE = ("See a vet", "One thing to change")


@dataclass(frozen=True, slots=True)
class FactorRow:
    """One factor as a row. `rank` is empty where there is nothing to set it beside."""

    name: str
    value: str
    rule: str
    finding: str
    rank: str
    basis: str


@dataclass(frozen=True, slots=True)
class MealTold:
    """What the screen of one meal says."""

    circumstances: str
    ribbon: Markup
    plot: Markup
    verdict: str
    reasons: list[str]
    known: str
    digestion: str
    cannot_tell: str
    advice: list[tuple[str, list[str]]]
    standing_out: list[FactorRow]
    """The factors that break a rule or are unusual for the animal."""
    ordinary: list[FactorRow]
    """The rest, ordinary or not known."""

    @property
    def ordinary_words(self) -> str:
        """ "12 ordinary, 1 not known"."""
        unknown = sum(row.finding == "unknown" for row in self.ordinary)
        parts = [f"{len(self.ordinary) - unknown} ordinary"]
        return ", ".join([*parts, f"{unknown} not known"] if unknown else parts)


def meal_told(record: Meal, home: Looking) -> MealTold | None:
    """The meal told; None for an offer that was not taken, of which there is nothing to judge."""
    if taken_at_ms(record) is None:
        return None
    book, settings, care = home.book, home.settings, home.care
    told, _ = different_meals(
        book, home.reader, care, settings, home.now_ms,
        meal=record.meal, kept=home.parts.judged,
    )  # fmt: skip
    different = told[0]
    gathered = gather(record, book, home.reader, care, settings, home.now_ms)
    review, sentence = different.review, meal_sentence(record, settings)
    climate = meal_climate(gathered, care)
    return MealTold(
        circumstances=circumstances(gathered, settings),
        ribbon=ribbon_of(review, gathered, care, settings),
        plot=two_widths(
            climate_svg(climate, settings, sentence, width=860, height=340),
            climate_svg(climate, settings, sentence, width=350, height=280),
        ),
        verdict=verdict_words.verdict_sentence(review),
        reasons=verdict_words.reason_sentences(review),
        known=verdict_words.known_sentence(review, settings),
        digestion=verdict_words.digestion_sentence(review, settings),
        cannot_tell=verdict_words.CANNOT_TELL,
        advice=[one for one in paragraphs(different) if one[0] in _ADVICE],
        standing_out=list(_rows(different, "breaks the rule", "unusual for this animal")),
        ordinary=list(_rows(different, "ordinary", "unknown")),
    )


def _rows(different: Different, *wanted: Finding) -> Iterator[FactorRow]:
    for finding in wanted:
        for one in different.found(finding):
            if not told_elsewhere(one.factor):
                yield _row(one, different)


def _row(one: Factor, different: Different) -> FactorRow:
    words = telling(one, different)
    return FactorRow(
        name=f"{words.name[:1].upper()}{words.name[1:]}",
        value=words.value,
        rule=words.rule or "there is no rule",
        finding=one.finding,
        rank=rank_words(one, different),
        basis=one.basis,
    )


def neighbours(record: Meal, home: Looking) -> tuple[Meal | None, Meal | None]:
    """The same animal's meal before this one, and the one after it, as the book orders them."""
    own = home.book.meals(record.animal)
    numbers = [one.meal for one in own]
    at = numbers.index(record.meal)
    return own[at - 1] if at else None, own[at + 1] if at + 1 < len(own) else None
