"""The trouble in the story: each a function that bends one meal, or a stretch of weeks.

All of it happens to real collections; none of it happened to a real one.
"""

from __future__ import annotations

from collections.abc import Callable

from analysis.demo.calendar import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.demo.collection import (
    LEFT,
    OAK,
    OMBRA,
    PILCHARD,
    RIGHT_COOL_OLD,
    SORREL,
    TANSY,
    WARM_PROBE,
    Kept,
)
from analysis.demo.draft import Draft, Highlight
from analysis.demo.meals import Offer, body_g
from collector.book.records import Handling, Outcome, Shed
from hardware.rack.faults import (
    Fallen,
    Heater,
    HeaterFault,
    PowerCut,
    ThermostatDrift,
    Unplugged,
)

_LONG_DAYS = 120
"""Shorter stories have no room for what takes weeks."""


def add_trouble(draft: Draft) -> None:
    """Write all of it into the story, what matters most first: a short story has few meals."""
    troubles: tuple[tuple[Kept, float, Callable[[Draft, Offer], None]], ...] = (
        (PILCHARD, 33, _cold_night),
        (SORREL, 147, _power_cut),
        (OMBRA, 258, _handled_too_soon),
        (TANSY, 48, _too_large),
        (SORREL, 61, _fallen_probe),
        (PILCHARD, 205, _stuck_relay),
        (SORREL, 310, _half_frozen),
        (PILCHARD, 120, _dead_probe),
    )
    for kept, days_ago, happens in troubles:
        meal = draft.pick(kept, days_ago)
        if meal is not None:
            happens(draft, meal)
    if draft.calendar.days >= _LONG_DAYS:
        _drift(draft)
        _refusals(draft, SORREL, 232, 2)
        _refusals(draft, TANSY, 178, 1)
    draft.highlights.append(_under_way(draft.offers[OMBRA][-1]))


def _taken(meal: Offer) -> int:
    return meal.offered_ms if meal.taken_ms is None else meal.taken_ms


def _comes_back(meal: Offer, hours: float, notes: str) -> None:
    meal.outcome = Outcome.REGURGITATED
    meal.outcome_ms = _taken(meal) + round(hours * 60) * MINUTE_MS
    meal.notes = notes


def _tell(draft: Draft, meal: Offer, text: str, *, telling: bool = False) -> None:
    draft.highlights.append(Highlight(meal.kept.animal, _taken(meal), text, telling))


def _cold_night(draft: Draft, meal: Offer) -> None:
    home = draft.home_of(meal.kept, _taken(meal))
    off_ms = draft.calendar.at(meal.days_ago, 23.2)
    draft.faults.append(HeaterFault(home, Heater.OFF, off_ms, off_ms + round(15.5 * HOUR_MS)))
    _comes_back(meal, 41, "heat panel found dead the afternoon after; new fuse")
    _tell(draft, meal, "the heater failed the night after; the meal came back", telling=True)


def _power_cut(draft: Draft, meal: Offer) -> None:
    from_ms = _taken(meal) + 26 * HOUR_MS
    draft.faults.append(PowerCut(from_ms, from_ms + round(9.5 * HOUR_MS)))
    meal.notes = "power cut in the whole street the night after"
    text = "a power cut: no readings for 9.5 h, so nobody can say it was warm enough"
    _tell(draft, meal, text, telling=True)


def _handled_too_soon(draft: Draft, meal: Offer) -> None:
    at_ms = _taken(meal) + 20 * HOUR_MS
    draft.handlings.append(Handling(meal.kept.animal, at_ms, 25.0, "shown to a visitor"))
    draft.open_door(meal.kept, at_ms, 4)
    _comes_back(meal, 36, "should have been left alone")
    _tell(draft, meal, "handled 20 h after it; it came back from a warm enclosure")


def _too_large(draft: Draft, meal: Offer) -> None:
    meal.resize(0.42 * body_g(meal.kept, meal.days_ago))
    _comes_back(meal, 60, "much too large, nothing smaller was thawed")
    _tell(draft, meal, "prey of 42 % of her mass; it came back")


def _fallen_probe(draft: Draft, meal: Offer) -> None:
    from_ms = _taken(meal) + 20 * HOUR_MS
    probe = WARM_PROBE[OAK].probe
    draft.faults.append(Fallen(probe, from_ms, from_ms + 3 * DAY_MS))
    meal.notes = "warm-side probe found lying on the cool side; the panel was warm all along"
    _tell(draft, meal, "the warm-side probe lay on the cool side for three days: see the note")


def _stuck_relay(draft: Draft, meal: Offer) -> None:
    from_ms = draft.calendar.at(meal.days_ago - 1, 9.0)
    home = draft.home_of(meal.kept, from_ms)
    draft.faults.append(HeaterFault(home, Heater.STUCK_ON, from_ms, from_ms + 10 * HOUR_MS))
    meal.notes = "thermostat relay stuck on for a day; thermostat replaced"
    _tell(draft, meal, "the thermostat's relay stuck: too hot for hours")


def _half_frozen(draft: Draft, meal: Offer) -> None:
    meal.surface_c = 21.5
    _comes_back(meal, 27, "still hard in the middle, thawed in a hurry")
    _tell(draft, meal, "offered half frozen; it came back")


def _dead_probe(draft: Draft, meal: Offer) -> None:
    from_ms = _taken(meal) + 30 * HOUR_MS
    draft.swapped_ms = draft.calendar.at(meal.days_ago - 2, 18.5)
    draft.faults.append(Unplugged(RIGHT_COOL_OLD.probe, from_ms))
    _tell(draft, meal, "the cool-side probe died and was replaced by another")


def _drift(draft: Draft) -> None:
    """Five weeks in which a thermostat wanders down by 5.5 K, noticed by how slowly meals pass."""
    end_ms = draft.calendar.at(round(draft.calendar.scaled(80)), 11.0)
    start_ms = end_ms - 35 * DAY_MS
    draft.faults.append(ThermostatDrift(LEFT, -5.5, start_ms, end_ms))
    slow = [o for o in draft.offers[OMBRA] if start_ms < o.offered_ms < end_ms and not o.scripted]
    for meal in slow[-2:]:
        meal.scripted = True
        meal.outcome = Outcome.PASSED
        after = max(o.days_ago for o in draft.offers[OMBRA] if o.days_ago < meal.days_ago)
        passed = max(meal.days_ago - 11, after)
        meal.outcome_ms = draft.calendar.at(passed, 8.2)
        meal.notes = "slow to pass"
    if slow:
        slow[-1].notes = "slow to pass; thermostat found 5 degrees low and replaced"
        _tell(draft, slow[-1], "the thermostat had wandered down for weeks")


def _refusals(draft: Draft, kept: Kept, days_ago: float, count: int) -> None:
    for _ in range(count):
        meal = draft.pick(kept, days_ago)
        if meal is None:
            return
        meal.taken_ms = None
        meal.removed_ms = meal.outcome_ms = meal.offered_ms + 45 * MINUTE_MS
        meal.outcome = Outcome.REFUSED
        meal.notes = "eyes blue, about to shed" if kept is SORREL else "still settling in"
    if kept is SORREL:
        refused = [o for o in draft.offers[kept] if o.outcome is Outcome.REFUSED]
        found_ms = draft.calendar.at(refused[-1].days_ago - 6, 8.0)
        draft.sheds.append(Shed(kept.animal, found_ms, "in one piece"))


def _under_way(meal: Offer) -> Highlight:
    return Highlight(meal.kept.animal, _taken(meal), "under way now", telling=True)
