"""What the keeper is told: what, since when, how bad, which animal, and what to do first.

A title that can be read on a lock screen, and a few sentences. Times are the home's. A message
may arrive hours late, so every moment is a time of day, never "10 minutes ago".
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from analysis.watch.outbox import Message, Urgency
from analysis.watch.phrases import (
    Names,
    clock,
    doubts,
    enclosure_words,
    last_word,
    lasted,
    listed,
    moment,
    place_words,
    probe_words,
    short,
    shown,
    shown_low,
    since,
)
from analysis.watch.states import HOUR_MS, Cause, Digesting, Kind, Transition
from analysis.words import hours, plain

_WATCHES_ONLY = "Warmcoil watches; it never switches heat."


def messages_of(transitions: Sequence[Transition], names: Names) -> list[Message]:
    """The messages of one evaluation.

    An alarm that was raised and was over before anyone could be told (the watch was off
    meanwhile) is one message, not a call for help and its end.
    """
    told = []
    for index, transition in enumerate(transitions):
        over_already = any(
            later.alarm.key == transition.alarm.key and not later.alarm.standing
            for later in transitions[index + 1 :]
        )
        if not (transition.alarm.standing and over_already):
            told.append(message_of(transition, names))
    return told


def message_of(transition: Transition, names: Names) -> Message:
    """The message of one transition."""
    key = transition.alarm.key
    title, sentences = _WORDS[key.kind, transition.cause](transition, names)
    reference = reference_of(transition)
    body = "\n".join([*sentences, f"Message {reference}"])
    return Message(reference, key, _urgency(transition), title, body)


def reference_of(transition: Transition) -> str:
    """The message's reference: the same transition always has the same."""
    key = transition.alarm.key
    parts = (key.kind, key.enclosure, key.probe or "", transition.cause, str(transition.at_ms))
    return hashlib.blake2b("\0".join(parts).encode(), digest_size=5).hexdigest()


def _urgency(transition: Transition) -> Urgency:
    if transition.cause is Cause.CLEARED:
        return Urgency.ALL_CLEAR
    if transition.cause is Cause.WITHDRAWN:
        return Urgency.NOTE
    return Urgency.of(transition.alarm.priority)


_Text = tuple[str, list[str]]

# ---- warm side low --------------------------------------------------------------------------


def _low_raised(transition: Transition, names: Names) -> _Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown_low(transition.value, alarm.setpoint, names)
    floor = shown(alarm.setpoint, names)
    title = f"Warm side low in {short(alarm.key.enclosure)}: {read}{_meanwhile(transition)}"
    body = (
        f"The warm side of {where} has been below {floor} since "
        f"{since(transition, names)}. At {clock(transition.at_ms, names)} it read {read}; "
        f"lowest so far {shown_low(alarm.lowest, alarm.setpoint, names)}."
    )
    return title, [body, *_digesting(transition), *_what_to_do(transition)]


def _low_escalated(transition: Transition, names: Names) -> _Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown_low(transition.value, alarm.setpoint, names)
    title = f"Warm side still low in {short(alarm.key.enclosure)}: {read}{_meanwhile(transition)}"
    body = (
        f"The warm side of {where} is still below {shown(alarm.setpoint, names)}, since "
        f"{since(transition, names)}, and is now more urgent. At "
        f"{clock(transition.at_ms, names)} it read {read}; lowest so far "
        f"{shown_low(alarm.lowest, alarm.setpoint, names)}."
    )
    return title, [body, *_digesting(transition), *_what_to_do(transition)]


def _low_cleared(transition: Transition, names: Names) -> _Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    read = shown(transition.value, names)
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


def _low_withdrawn(transition: Transition, names: Names) -> _Text:
    alarm, where = transition.alarm, enclosure_words(transition, names)
    title = f"Warm side of {short(alarm.key.enclosure)} is no longer watched"
    body = (
        f"The warm side of {where} was low since {since(transition, names)}; now no warm-side "
        "probe is placed there, so Warmcoil cannot say more."
    )
    return title, [body, "Place a probe again, or nothing will warn you there."]


def _what_to_do(transition: Transition) -> list[str]:
    first = "First: check that the heater and its thermostat have power."
    animals = sorted({plain(d.animal) for d in transition.digesting})
    if animals:
        first += f" Do not handle {listed(animals)}."
    return [first, _WATCHES_ONLY]


def _meanwhile(transition: Transition) -> str:
    animals = sorted({plain(d.animal) for d in transition.digesting})
    if not animals:
        return ""
    more = f" and {len(animals) - 1} more" if len(animals) > 1 else ""
    return f", {short(animals[0])}{more} digesting"


def _digesting(transition: Transition) -> list[str]:
    return [_one_digesting(d, transition.at_ms) for d in transition.digesting]


def _one_digesting(digesting: Digesting, at_ms: int) -> str:
    elapsed = hours((at_ms - digesting.taken_ms) / HOUR_MS)
    return f"{plain(digesting.animal)} is digesting {digesting.prey}, taken {elapsed} before that."


# ---- no readings ----------------------------------------------------------------------------


def _silent_raised(transition: Transition, names: Names) -> _Text:
    alarm = transition.alarm
    probe, last = probe_words(transition, names), last_word(transition, names)
    place = place_words(transition, names)
    title = f"No readings: {place} of {short(alarm.key.enclosure)}"
    if last.doubted:
        what = f"sends only readings that cannot be right ({doubts(last.doubted)})"
        first = "First: check the probe and its plug."
    else:
        what = "has been silent"
        first = "First: check the probe, its cable and its power, and that the collector runs."
    body = f"Probe {probe}, {place} of {enclosure_words(transition, names)}, {what}"
    if last.at_ms is None or last.value_c is None:
        body += f" since it was placed, {moment(alarm.since_ms, names)}."
    else:
        body += (
            f". Its last usable reading was {shown(last.value_c, names)}, "
            f"{moment(last.at_ms, names)}."
        )
    blind = "Until it reports again, nothing warns you of the temperature at that probe."
    return title, [body, blind, first]


def _silent_cleared(transition: Transition, names: Names) -> _Text:
    alarm, last = transition.alarm, last_word(transition, names)
    place = place_words(transition, names)
    reads = "" if last.value_c is None else f" at {shown(last.value_c, names)}"
    title = f"All clear: {place} of {short(alarm.key.enclosure)} reports again"
    body = (
        f"Probe {probe_words(transition, names)}, {place} of "
        f"{enclosure_words(transition, names)}, reports again{reads}. It gave nothing usable for "
        f"{lasted(transition)}, from {since(transition, names)} to "
        f"{clock(transition.over_ms, names)}."
    )
    return title, [body]


def _silent_withdrawn(transition: Transition, names: Names) -> _Text:
    probe, where = probe_words(transition, names), enclosure_words(transition, names)
    title = f"Silent probe in {short(transition.alarm.key.enclosure)} is no longer watched"
    body = (
        f"Probe {probe} in {where} was silent since {since(transition, names)}; it is no longer "
        "placed there."
    )
    return title, [body]


_WORDS = {
    (Kind.WARM_SIDE_LOW, Cause.RAISED): _low_raised,
    (Kind.WARM_SIDE_LOW, Cause.ESCALATED): _low_escalated,
    (Kind.WARM_SIDE_LOW, Cause.CLEARED): _low_cleared,
    (Kind.WARM_SIDE_LOW, Cause.WITHDRAWN): _low_withdrawn,
    (Kind.NO_READINGS, Cause.RAISED): _silent_raised,
    (Kind.NO_READINGS, Cause.CLEARED): _silent_cleared,
    (Kind.NO_READINGS, Cause.WITHDRAWN): _silent_withdrawn,
}
