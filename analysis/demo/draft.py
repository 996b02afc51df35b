"""The story while it is being written: what there is so far, and what troubles add to it."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from analysis.demo.calendar import DAY_MS, MINUTE_MS, Calendar
from analysis.demo.collection import ANIMALS, BENCH, FIRST_HOME, TANSY, Kept
from analysis.demo.meals import Offer, ordinary_offers
from collector.book.records import Dropping, Handling, Look, Shed, Weighing
from hardware.rack.faults import DoorOpen, Fault

_LATEST_DAYS = 5
_APART_DAYS = 15
"""Between two meals that something happens to: one that came back is followed by rest."""


@dataclass(frozen=True, slots=True)
class Highlight:
    """A meal worth looking at: whose, when it was taken, and what happened.

    `telling` marks the few whose plot is suggested.
    """

    animal: str
    taken_ms: int
    text: str
    telling: bool = False


@dataclass(slots=True)
class Draft:
    """A story being written."""

    calendar: Calendar
    draw: random.Random
    offers: dict[Kept, list[Offer]]
    moved_ms: int
    tub_probed_ms: int
    swapped_ms: int | None = None
    faults: list[Fault] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    handlings: list[Handling] = field(default_factory=list)
    sheds: list[Shed] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    droppings: list[Dropping] = field(default_factory=list)
    highlights: list[Highlight] = field(default_factory=list)

    @classmethod
    def begin(cls, calendar: Calendar, seed: int) -> Draft:
        """A story of ordinary meals only."""
        draw = random.Random(f"story {seed}")  # noqa: S311  # invented, not secret
        offers = {kept: ordinary_offers(kept, calendar, draw) for kept in ANIMALS}
        return cls(
            calendar=calendar,
            draw=draw,
            offers=offers,
            moved_ms=_move_time(offers[TANSY], calendar),
            # The tub had no probe on its warm side at first.
            tub_probed_ms=calendar.start_ms + round(0.04 * calendar.days * DAY_MS),
        )

    def pick(self, kept: Kept, days_ago: float) -> Offer | None:
        """The animal's plain meal nearest to then that is over by now; it is taken for a script."""
        aim = self.calendar.scaled(days_ago)
        mine = self.offers[kept]
        special = [o.days_ago for o in mine if o.scripted]
        plain = [
            o
            for o in mine
            if o.days_ago >= _LATEST_DAYS
            and all(abs(o.days_ago - other) >= _APART_DAYS for other in special)
        ]
        if not plain:
            return None
        chosen = min(plain, key=lambda o: abs(o.days_ago - aim))
        chosen.scripted = True
        return chosen

    def home_of(self, kept: Kept, at_ms: int) -> str:
        """Where the animal lived then."""
        return BENCH if kept is TANSY and at_ms >= self.moved_ms else FIRST_HOME[kept]

    def open_door(self, kept: Kept, at_ms: int, minutes: float) -> None:
        """Let the keeper open the animal's door."""
        until_ms = at_ms + round(minutes * MINUTE_MS)
        self.faults.append(DoorOpen(self.home_of(kept, at_ms), at_ms, until_ms))


def _move_time(offers: list[Offer], calendar: Calendar) -> int:
    """An afternoon some days after a meal, near the middle of the story."""
    aim = calendar.scaled(190)
    meal = min(offers, key=lambda o: abs(o.days_ago - aim))
    return calendar.at(max(meal.days_ago - 5, 2), 15.5)
