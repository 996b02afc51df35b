"""What the keeper saw in the story: dull eyes before a shed, droppings, a look at the body, signs.

Drawn apart from the rest of the story, which stays as it was written.
"""

from __future__ import annotations

import random

from analysis.demo.calendar import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.demo.collection import ANIMALS, SORREL, TANSY, Kept
from analysis.demo.draft import Draft
from collector.book.records import (
    Dropping,
    Look,
    Neck,
    Outcome,
    Ribs,
    Shed,
    ShedStage,
    Signs,
    Skin,
    Spine,
    Tail,
    Urate,
    Vent,
)

_LOOK_EVERY_DAYS = 45


def add_observations(draft: Draft, draw: random.Random) -> None:
    """Write them into the story."""
    for shed in list(draft.sheds):
        _dull(draft, draw, shed)
    for kept in ANIMALS:
        _droppings(draft, draw, kept)
        _looks(draft, draw, kept)
        _signs(draft, kept)


def _dull(draft: Draft, draw: random.Random, shed: Shed) -> None:
    """Most times the keeper writes down that the eyes went dull, five to nine days before."""
    at_ms = shed.at_ms - draw.randint(5, 9) * DAY_MS + draw.randint(600, 780) * MINUTE_MS
    if draw.random() < 0.75 and at_ms >= draft.calendar.start_ms:
        draft.sheds.append(Shed(shed.animal, at_ms, "eyes blue", ShedStage.IN_SHED))


def _droppings(draft: Draft, draw: random.Random, kept: Kept) -> None:
    """A meal that was passed left droppings, and was known to be passed by them."""
    for offer in draft.offers[kept]:
        if offer.outcome is Outcome.PASSED and offer.outcome_ms is not None:
            urate = Urate.WHITE if draw.random() < 0.97 else None
            draft.droppings.append(Dropping(kept.animal, offer.outcome_ms, urate, Signs.NONE))


def _looks(draft: Draft, draw: random.Random, kept: Kept) -> None:
    """Beside a weighing now and then: the grown female has lately put on some fat."""
    due_ms = draft.calendar.start_ms + draw.randint(3, 20) * DAY_MS
    for weighing in sorted(draft.weighings, key=lambda one: one.at_ms):
        if weighing.animal != kept.animal or weighing.at_ms < due_ms:
            continue
        lately = draft.calendar.days_ago(weighing.at_ms) < 120
        stout = kept is SORREL and lately
        draft.looks.append(
            Look(
                kept.animal,
                weighing.at_ms + 6 * MINUTE_MS,
                spine=Spine.FELT,
                ribs=Ribs.FELT,
                skin=Skin.SMOOTH,
                tail=Tail.THICK if stout else Tail.TAPERING,
                vent=Vent.FLAT,
                neck=Neck.STEPPED if draw.random() < 0.9 else None,
                notes="a little stout" if stout else None,
            )
        )
        due_ms = weighing.at_ms + _LOOK_EVERY_DAYS * DAY_MS - HOUR_MS


def _signs(draft: Draft, kept: Kept) -> None:
    """Beside every meal that came back the keeper looked; once there was some mucus."""
    for offer in draft.offers[kept]:
        if offer.outcome is not None and offer.outcome.came_back:
            offer.signs = Signs.MUCUS if kept is TANSY else Signs.NONE
