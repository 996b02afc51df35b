"""The whole story of the demo: what was kept where, what happened, what was written down.

A pure function of the calendar and the seed: every process that needs it writes it again.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from analysis.demo import collection as c
from analysis.demo.calendar import HOUR_MS, MINUTE_MS, Calendar
from analysis.demo.care import add_care
from analysis.demo.draft import Draft, Highlight
from analysis.demo.meals import Offer, end_the_rest, rest_after_failures
from analysis.demo.observed import add_observations
from analysis.demo.trouble import add_trouble
from collector.book.records import Dropping, Handling, Look, Placement, Shed, Stay, Weighing, Zone
from hardware.rack.faults import FOREVER_MS, Fault
from hardware.rack.layout import LaidProbe, Layout, Seat

_MOVING_MS = 40 * MINUTE_MS


@dataclass(frozen=True, slots=True)
class Story:
    """What happened to the collection, and what the keeper wrote down of it."""

    calendar: Calendar
    seed: int
    seats: tuple[Seat, ...]
    faults: tuple[Fault, ...]
    stays: tuple[Stay, ...]
    offers: tuple[Offer, ...]
    weighings: tuple[Weighing, ...]
    handlings: tuple[Handling, ...]
    sheds: tuple[Shed, ...]
    looks: tuple[Look, ...]
    droppings: tuple[Dropping, ...]
    highlights: tuple[Highlight, ...]

    def placements(self) -> list[Placement]:
        """The seats as the record book has them. The room's probe is entered with one enclosure."""
        return [
            Placement(
                probe=seat.probe,
                enclosure=seat.enclosure or c.OAK,
                zone=Zone(seat.zone),
                since_ms=seat.from_ms,
                until_ms=None if seat.until_ms == FOREVER_MS else seat.until_ms,
            )
            for seat in self.seats
        ]

    def layout_now(self) -> Layout:
        """The rack as it stands at the end of the story, for the live rack to go on with."""
        seated = {s.probe: s for s in self.seats if s.until_ms == FOREVER_MS}
        probes = [
            LaidProbe(
                id=p.probe,
                node=p.node,
                sensor=p.sensor,
                enclosure=seated[p.probe].enclosure,
                zone=seated[p.probe].zone,
                offset_c=p.offset_c,
            )
            for p in c.PROBES
            if p.probe in seated
        ]
        return Layout(
            seed=self.seed,
            enclosure=c.ENCLOSURES,
            node=(c.SHELF_NODE, c.BENCH_NODE),
            probe=tuple(probes),
        )


def write_story(calendar: Calendar, seed: int) -> Story:
    """Write it: first ordinary meals, then the trouble, then what follows from it, then care."""
    draft = Draft.begin(calendar, seed)
    add_trouble(draft)
    for kept, offers in draft.offers.items():
        draft.offers[kept] = rest_after_failures(offers)
        end_the_rest(draft.offers[kept], calendar, draft.draw)
    add_care(draft)
    add_observations(draft, random.Random(f"observed {seed}"))  # noqa: S311  # invented, not secret
    everyone = (offer for offers in draft.offers.values() for offer in offers)
    return Story(
        calendar=calendar,
        seed=seed,
        seats=_seats(draft),
        faults=tuple(draft.faults),
        stays=_stays(draft),
        offers=tuple(sorted(everyone, key=lambda o: o.offered_ms)),
        weighings=tuple(sorted(draft.weighings, key=lambda w: w.at_ms)),
        handlings=tuple(sorted(draft.handlings, key=lambda h: h.at_ms)),
        sheds=tuple(sorted(draft.sheds, key=lambda s: s.at_ms)),
        looks=tuple(sorted(draft.looks, key=lambda k: k.at_ms)),
        droppings=tuple(sorted(draft.droppings, key=lambda d: d.at_ms)),
        highlights=tuple(sorted(draft.highlights, key=lambda h: h.taken_ms, reverse=True)),
    )


def _stays(draft: Draft) -> tuple[Stay, ...]:
    since_ms = draft.calendar.start_ms - HOUR_MS
    first = [Stay(kept.animal, home, since_ms) for kept, home in c.FIRST_HOME.items()]
    return (*first, Stay(c.TANSY.animal, c.BENCH, draft.moved_ms))


def _seats(draft: Draft) -> tuple[Seat, ...]:
    since_ms = draft.calendar.start_ms - HOUR_MS
    there_ms = draft.moved_ms + _MOVING_MS
    seats = []
    for p in c.PROBES:
        if p in (c.TANSY_WARM, c.TANSY_COOL):
            first_ms = draft.tub_probed_ms if p is c.TANSY_WARM else since_ms
            seats.append(Seat(p.probe, c.TUB, p.zone, first_ms, draft.moved_ms))
            seats.append(Seat(p.probe, c.BENCH, p.zone, there_ms))
        elif p is c.TANSY_HIDE:
            seats.append(Seat(p.probe, c.BENCH, p.zone, there_ms))
        elif p is c.RIGHT_COOL_OLD:
            if draft.swapped_ms is not None:
                seats.append(Seat(p.probe, c.RIGHT, p.zone, since_ms, draft.swapped_ms))
        elif p is c.RIGHT_COOL:
            seats.append(Seat(p.probe, c.RIGHT, p.zone, draft.swapped_ms or since_ms))
        else:
            seats.append(Seat(p.probe, p.enclosure, p.zone, since_ms))
    return tuple(seats)
