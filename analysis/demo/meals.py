"""Ordinary meals: a rhythm per animal, prey that fits the body as it grows, and how they ended."""

from __future__ import annotations

import random
from dataclasses import dataclass

from analysis.demo.calendar import MINUTE_MS, Calendar
from analysis.demo.collection import Kept
from collector.book.records import FedIn, Outcome, PreyState, Signs

_FULL_DAYS = 400
_REST_DAYS = 14
_SMALL_G = 160.0


@dataclass(slots=True)
class Offer:
    """One offer of prey while the story is still being written."""

    kept: Kept
    days_ago: int
    offered_ms: int
    prey: str
    prey_g: float
    width_mm: float
    surface_c: float
    fed_in: FedIn = FedIn.ENCLOSURE
    taken_ms: int | None = None
    removed_ms: int | None = None
    outcome: Outcome | None = None
    outcome_ms: int | None = None
    notes: str | None = None
    signs: Signs | None = None
    scripted: bool = False

    @property
    def state(self) -> PreyState:
        """How the prey came: always thawed here."""
        return PreyState.THAWED

    def resize(self, grams: float) -> None:
        """Offer prey of another size."""
        self.prey, self.width_mm = prey_name(grams), prey_width_mm(grams)
        self.prey_g = on_the_scale(grams)


def on_the_scale(grams: float) -> float:
    """A mass as a kitchen scale shows it: whole grams, tenths of small things."""
    return round(grams) if grams > 30 else round(grams, 1)


def body_g(kept: Kept, days_ago: float) -> float:
    """Body mass in g so many days ago: grown by the same share each day."""
    return float(kept.now_g * (kept.first_g / kept.now_g) ** (days_ago / _FULL_DAYS))


def body_cm(grams: float) -> float:
    """Length in cm of an animal of that mass (invented, of the right size)."""
    return float(12.7 * grams ** (1 / 3))


def midbody_mm(grams: float) -> float:
    """Width at mid-body in mm of an animal of that mass (invented, of the right size)."""
    return float(4.7 * grams ** (1 / 3))


def prey_width_mm(grams: float) -> float:
    """Widest part in mm of prey of that mass (invented, of the right size)."""
    return round(float(8.6 * grams ** (1 / 3)), 1)


def prey_name(grams: float) -> str:
    """What prey of that mass is called."""
    for below_g, name in ((9, "mouse, hopper"), (35, "mouse"), (75, "rat, weaned"), (340, "rat")):
        if grams < below_g:
            return name
    return "rabbit"


def ordinary_offers(kept: Kept, calendar: Calendar, draw: random.Random) -> list[Offer]:
    """The animal's offers, oldest first, all of them taken and none of them special."""
    offers = []
    days_ago = kept.latest_days
    while days_ago < calendar.days - 1:
        offers.append(_offer(kept, days_ago, calendar, draw))
        days_ago += draw.randint(*kept.every_days)
    return offers[::-1]


def _offer(kept: Kept, days_ago: int, calendar: Calendar, draw: random.Random) -> Offer:
    body = body_g(kept, days_ago)
    grams = on_the_scale(body * draw.uniform(*kept.prey_share))
    offered_ms = calendar.at(days_ago, draw.uniform(19.0, 21.6))
    young = body < _SMALL_G
    return Offer(
        kept=kept,
        days_ago=days_ago,
        offered_ms=offered_ms,
        prey=prey_name(grams),
        prey_g=grams,
        width_mm=prey_width_mm(grams),
        surface_c=round(draw.uniform(35.5, 39.5), 1),
        fed_in=FedIn.BOX if young and draw.random() < 0.5 else FedIn.ENCLOSURE,
        taken_ms=offered_ms + draw.randint(2, 19) * MINUTE_MS,
    )


def rest_after_failures(offers: list[Offer]) -> list[Offer]:
    """Leave out what would have come too soon after a meal that came back; the next is small.

    The latest meal of all stays, for the demo shows one under way, and so does a scripted one.
    """
    left: list[Offer] = []
    failed: Offer | None = None
    for offer in offers:
        if failed is not None:
            too_soon = failed.days_ago - offer.days_ago < _REST_DAYS
            if too_soon and offer is not offers[-1] and not offer.scripted:
                continue
            offer.resize(offer.prey_g / 2)
            offer.notes = offer.notes or "small, after the one that came back"
            failed = None
        left.append(offer)
        if offer.outcome is not None and offer.outcome.came_back:
            failed = offer
    return left


def end_the_rest(offers: list[Offer], calendar: Calendar, draw: random.Random) -> None:
    """Give every taken meal that has no outcome yet an ordinary one, where it is due by now."""
    for offer in offers:
        if offer.outcome is not None or offer.taken_ms is None:
            continue
        kept_only = draw.random() < 0.2
        days = 4 if kept_only else draw.randint(5, 8)
        # Found when the keeper is up and looks: in the morning or in the evening.
        hour = draw.choice((draw.uniform(7.3, 8.8), draw.uniform(18.0, 22.0)))
        found_ms = calendar.at(offer.days_ago - days, hour)
        if found_ms < calendar.now_ms:
            offer.outcome = Outcome.KEPT if kept_only else Outcome.PASSED
            offer.outcome_ms = found_ms
