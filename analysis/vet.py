"""Why a vet should see the animal, as it stood with one meal: until the next one was taken.

The rules are those of `vet_signs`, which the next meal and the condition go by; here they are held
against one meal and what was found and weighed after it. It is not veterinary advice; what a vet
says overrides it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.gathering import Gathered
from analysis.measured import basis_text
from analysis.verdict import Verdict
from analysis.vet_signs import VetSign, vet_signs
from analysis.weights import Weight, loss
from analysis.words import local_day, mass
from config.care import CareProfile
from config.settings import Settings


def vet_of_meal(
    own: Gathered, verdict: Verdict, care: CareProfile, settings: Settings
) -> tuple[VetSign, ...]:
    """Every reason for a vet that came up with a meal, the gravest first.

    `verdict` is the meal's. Of the meals before it those in a row with it count, refusals or not.
    """
    outcome = own.meal.outcome
    came_back = outcome is not None and outcome.came_back
    signs = vet_signs(
        (*own.came_back_before, own.meal) if came_back else (),
        own.droppings,
        care=care,
        now_ms=own.next_meal_ms if own.next_meal_ms is not None else own.now_ms,
        zone=settings.zone,
        verdict=verdict,
        called="the meal",
    )
    return (*signs, *_of_loss(own.masses, care, settings))


def vet_text(sign: VetSign) -> str:
    """A sign with its source: "two meals in a row came back (trade rule …)"."""
    return f"{sign.says} ({sign.basis})"


def _of_loss(masses: Sequence[Weight], care: CareProfile, settings: Settings) -> Iterator[VetSign]:
    """More lost than the rule allows, between two weighings without a meal inside."""
    lost, rule = loss(masses), care.condition.loss_vet_pct
    if lost is None or lost.pct <= rule.value:
        return
    peak, last = mass(lost.peak_g, settings), mass(lost.last_g, settings)
    since = local_day(lost.peak_at_ms, settings.zone)
    says = f"more than {rule.value:g} % of its mass lost since {since}, from {peak} to {last}"
    yield VetSign(says, basis_text(rule), holds=False)
