"""When to see a vet: what is not husbandry, or no longer, with why. One room for all who say it.

It is not veterinary advice; what a vet says overrides it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.measured import basis_text, typical_of_infection
from analysis.verdict import Verdict
from analysis.weights import Weight, loss
from analysis.window import HOUR_MS, came_back_ms, taken_at_ms
from analysis.words import local_day, mass, whole_hours
from collector.book.records import Dropping, Meal, Outcome, Signs
from config.care import CareProfile
from config.settings import Settings

Rule = Literal["vomited", "mucus or blood", "two in a row", "came back though warm", "weight lost"]

_TRADE_RULE = "trade rule (from memory)"


@dataclass(frozen=True, slots=True)
class Vet:
    """One reason to see a vet: which rule, what was seen, and where the rule is from."""

    rule: Rule
    why: str
    basis: str

    @property
    def says(self) -> str:
        """As a reason of a review: "see a vet: two meals in a row came back (trade rule …)"."""
        return f"see a vet: {self.why} ({self.basis})"


def see_a_vet(
    meals: Sequence[Meal],
    *,
    care: CareProfile,
    settings: Settings,
    droppings: Sequence[Dropping] = (),
    masses: Sequence[Weight] = (),
    verdict: Verdict | None = None,
) -> tuple[Vet, ...]:
    """Every reason to see a vet that stands after one animal's last meal, what presses most first.

    `meals`: the animal's up to the moment that is asked about, refusals or not; the last one taken
    is what is asked about. `verdict`: of that meal, None where it has not been judged.
    `droppings`: those that still count; those since that meal, or of a longer time. `masses`: the
    animal's up to that moment (`weights.weights`); those with a meal inside are not used.
    """
    taken = sorted(
        (one for one in meals if taken_at_ms(one) is not None),
        key=lambda one: taken_at_ms(one) or 0,
    )
    found = []
    if taken:
        found += [*_of_meal(taken[-1]), *_of_row(taken), *_of_time(taken[-1], verdict, care)]
    found += [*_of_droppings(droppings, settings), *_of_loss(masses, care, settings)]
    order = ("vomited", "mucus or blood", "two in a row", "came back though warm", "weight lost")
    return tuple(sorted(found, key=lambda one: order.index(one.rule)))


def _of_meal(last: Meal) -> Iterator[Vet]:
    if last.outcome is Outcome.VOMITED:
        yield Vet("vomited", "the meal was vomited: at once", "common practice")
    if last.signs is not None and last.signs is not Signs.NONE:
        yield Vet("mucus or blood", f"{last.signs.value} with the meal: at once", _TRADE_RULE)


def _of_droppings(droppings: Sequence[Dropping], settings: Settings) -> Iterator[Vet]:
    for one in sorted(droppings, key=lambda dropping: dropping.at_ms):
        if one.signs is not None and one.signs is not Signs.NONE:
            day = local_day(one.at_ms, settings.zone)
            yield Vet("mucus or blood", f"{one.signs.value} in the droppings of {day}", _TRADE_RULE)


def _of_row(taken: Sequence[Meal]) -> Iterator[Vet]:
    """Meals taken one after the other: a refusal between them was no meal."""
    two = [one.outcome for one in taken[-2:]]
    if len(two) == 2 and all(one is not None and one.came_back for one in two):
        yield Vet("two in a row", "two meals in a row came back", _TRADE_RULE)


def _of_time(last: Meal, verdict: Verdict | None, care: CareProfile) -> Iterator[Vet]:
    back_ms, start_ms = came_back_ms(last), taken_at_ms(last)
    if verdict is None or back_ms is None or start_ms is None:
        return
    after_h = (back_ms - start_ms) / HOUR_MS
    if typical_of_infection(after_h, verdict, care):
        why = (
            f"the meal came back after {whole_hours(after_h)} although the warm side was warm "
            "enough: ask about an infection"
        )
        yield Vet("came back though warm", why, basis_text(care.feeding.infection_hours))


def _of_loss(masses: Sequence[Weight], care: CareProfile, settings: Settings) -> Iterator[Vet]:
    """More lost than the rule allows, between two weighings without a meal inside."""
    lost, rule = loss([one for one in masses if not one.fed]), care.condition.loss_vet_pct
    if lost is None or lost.pct <= rule.value:
        return
    peak, last = mass(lost.peak_g, settings), mass(lost.last_g, settings)
    since = local_day(lost.peak_at_ms, settings.zone)
    why = f"more than {rule.value:g} % of its mass lost since {since}: from {peak} to {last}"
    yield Vet("weight lost", why, basis_text(rule))
