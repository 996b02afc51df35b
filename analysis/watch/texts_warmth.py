"""What the keeper is told of warmth: a warm side that is low or falls, heat, no retreat from it."""

from __future__ import annotations

from analysis.watch.phrases import (
    Names,
    Text,
    clock,
    digesting_lines,
    enclosure_words,
    lasted,
    listed,
    meanwhile,
    moment,
    short,
    shown,
    shown_high,
    shown_low,
    since,
    what_to_do,
)
from analysis.watch.states import Transition
from analysis.words import plain

# ---- warm side low --------------------------------------------------------------------------


def low_raised(transition: Transition, names: Names) -> Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    if alarm.foretold_ms is not None:
        return _falling(transition, names)
    read = shown_low(transition.value, alarm.setpoint, names)
    floor = shown(alarm.setpoint, names)
    title = f"Warm side low in {short(alarm.key.enclosure)}: {read}{meanwhile(transition)}"
    body = (
        f"The warm side of {where} has been below {floor} since "
        f"{since(transition, names)}. At {clock(transition.at_ms, names)} it read {read}; "
        f"lowest so far {shown_low(alarm.lowest, alarm.setpoint, names)}."
    )
    return title, [body, *digesting_lines(transition), *what_to_do(transition)]


def _falling(transition: Transition, names: Names) -> Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    floor, read = shown(alarm.setpoint, names), shown(transition.value, names)
    by = clock(alarm.foretold_ms, names)
    title = (
        f"Warm side of {short(alarm.key.enclosure)} is falling: {floor} by about {by}"
        f"{meanwhile(transition)}"
    )
    body = (
        f"The warm side of {where} has been falling since about {since(transition, names)}. At "
        f"{clock(transition.at_ms, names)} it read {read}; if it goes on it passes {floor} at "
        f"about {by}. That is an estimate from how it has fallen so far."
    )
    return title, [body, *digesting_lines(transition), *what_to_do(transition)]


def low_escalated(transition: Transition, names: Names) -> Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    if alarm.foretold_ms is not None:
        return _falling(transition, names)
    read = shown_low(transition.value, alarm.setpoint, names)
    title = f"Warm side still low in {short(alarm.key.enclosure)}: {read}{meanwhile(transition)}"
    body = (
        f"The warm side of {where} is still below {shown(alarm.setpoint, names)}, since "
        f"{since(transition, names)}, and is now more urgent. At "
        f"{clock(transition.at_ms, names)} it read {read}; lowest so far "
        f"{shown_low(alarm.lowest, alarm.setpoint, names)}."
    )
    return title, [body, *digesting_lines(transition), *what_to_do(transition)]


def low_cleared(transition: Transition, names: Names) -> Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown(transition.value, names)
    if alarm.lowest is None or (alarm.setpoint is not None and alarm.lowest >= alarm.setpoint):
        return _falls_no_more(transition, names)
    title = f"All clear: warm side of {short(alarm.key.enclosure)} back at {read}"
    lowest = shown_low(alarm.lowest, alarm.setpoint, names)
    body = (
        f"The warm side of {where} is back. It was low for {lasted(transition)}, from "
        f"{since(transition, names)} to {clock(transition.over_ms, names)}; lowest {lowest}, "
        f"the floor is {shown(alarm.setpoint, names)}."
    )
    animals = sorted({plain(d.animal) for d in transition.digesting})
    if not animals:
        return title, [body]
    return title, [body, f"What it meant for the meal of {listed(animals)}: warmcoil review"]


def low_withdrawn(transition: Transition, names: Names) -> Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    title = f"Warm side of {short(alarm.key.enclosure)} is no longer watched"
    body = (
        f"The warm side of {where} was low since {since(transition, names)}; now no warm-side "
        "probe is placed there, so Warmcoil cannot say more."
    )
    return title, [body, "Place a probe again, or nothing will warn you there."]


def _falls_no_more(transition: Transition, names: Names) -> Text:
    """It was foretold, and has not come."""
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown(transition.value, names)
    title = f"All clear: warm side of {short(alarm.key.enclosure)} falls no more, {read}"
    body = (
        f"The warm side of {where} falls no more; it did not pass {shown(alarm.setpoint, names)}. "
        f"At {clock(transition.at_ms, names)} it read {read}."
    )
    return title, [body]


# ---- too hot --------------------------------------------------------------------------------

_AGAINST_HEAT = (
    "look at the animal, and switch off the heater there if its thermostat does not hold it."
)


def hot_raised(transition: Transition, names: Names) -> Text:
    """The warm side is above what the animal can use, or further so."""
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown_high(transition.value, alarm.setpoint, names)
    title = f"Too hot in {short(alarm.key.enclosure)}: {read}"
    body = (
        f"The warm side of {where} has been above {shown(alarm.setpoint, names)} since "
        f"{since(transition, names)}. At {clock(transition.at_ms, names)} it read {read}; "
        f"highest so far {shown_high(alarm.lowest, alarm.setpoint, names)}."
    )
    return title, [body, *digesting_lines(transition), *what_to_do(transition, _AGAINST_HEAT)]


def hot_cleared(transition: Transition, names: Names) -> Text:
    """It is no longer too hot."""
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown(transition.value, names)
    title = f"All clear: {short(alarm.key.enclosure)} no longer too hot, {read}"
    body = (
        f"The warm side of {where} was above {shown(alarm.setpoint, names)} for "
        f"{lasted(transition)}, from {since(transition, names)} to "
        f"{clock(transition.over_ms, names)}; highest {shown(alarm.lowest, names)}."
    )
    return title, [body]


def cool_raised(transition: Transition, names: Names) -> Text:
    """The cool side is too warm."""
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown_high(transition.value, alarm.setpoint, names)
    title = f"Cool side too warm in {short(alarm.key.enclosure)}: {read}"
    body = (
        f"The cool side of {where} has been above {shown(alarm.setpoint, names)} since "
        f"{since(transition, names)}; at {clock(transition.at_ms, names)} it read {read}. An "
        "animal that is too warm has nowhere to go."
    )
    first = "shade or air the cool side; see whether the room is hot or a heater does not stop."
    return title, [body, *digesting_lines(transition), *what_to_do(transition, first)]


def cool_cleared(transition: Transition, names: Names) -> Text:
    """The cool side is cool again."""
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown(transition.value, names)
    title = f"All clear: cool side of {short(alarm.key.enclosure)} back at {read}"
    body = (
        f"The cool side of {where} was above {shown(alarm.setpoint, names)} for "
        f"{lasted(transition)}; highest {shown(alarm.lowest, names)}."
    )
    return title, [body]


# ---- several at once ------------------------------------------------------------------------


def several_raised(transition: Transition, names: Names) -> Text:
    """Several enclosures cool together."""
    places = [plain(name) for name in transition.names]
    title = f"{len(places)} enclosures are cooling: is the power out?"
    body = (
        f"The warm sides of {listed(places)} began to fall together, at about "
        f"{moment(transition.alarm.since_ms, names)}. One cause is likely: the power, a fuse, a "
        "shared thermostat or a cold room."
    )
    first = "check the power and the fuses of the room."
    return title, [body, *digesting_lines(transition), *what_to_do(transition, first)]


def several_escalated(transition: Transition, names: Names) -> Text:
    """It has become urgent: the first is below its floor."""
    places = [plain(name) for name in transition.names]
    title = f"Enclosures are cold, {len(places)} are cooling{meanwhile(transition)}"
    body = (
        f"{listed(places)} have been cooling together since about "
        f"{moment(transition.alarm.since_ms, names)}, and by "
        f"{clock(transition.at_ms, names)} the first is below its floor."
    )
    first = "check the power and the fuses of the room; keep the enclosures closed."
    return title, [body, *digesting_lines(transition), *what_to_do(transition, first)]


def several_cleared(transition: Transition, names: Names) -> Text:
    """They do not cool together any more."""
    title = "All clear: the enclosures no longer cool together"
    body = (
        f"What began at about {moment(transition.alarm.since_ms, names)} was over at about "
        f"{clock(transition.over_ms, names)}. Where a warm side is still low, it is said by itself."
    )
    return title, [body, "What it meant for the meals: warmcoil review"]
