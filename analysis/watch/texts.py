"""What the keeper is told: what, since when, how bad, which animal, and what to do first.

A title that can be read on a lock screen, and a few sentences. Times are the home's. A message
may arrive hours late, so every moment is a time of day, never "10 minutes ago".
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence

from analysis.watch import texts_home, texts_probes, texts_warmth
from analysis.watch.outbox import Message, Urgency
from analysis.watch.phrases import Names, Text, enclosure_words, short, since
from analysis.watch.states import Cause, Kind, Transition


def messages_of(transitions: Sequence[Transition], names: Names) -> list[Message]:
    """The messages of one evaluation.

    An alarm that was raised and was over before anyone could be told (the watch was off
    meanwhile) is one message, not a call for help and its end.
    """
    told = []
    transitions = [transition for transition in transitions if transition.told]
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
    title, sentences = _text_of(transition, names)
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


_Words = Callable[[Transition, Names], Text]
_AGAIN = {
    Cause.SURFACED: "What it followed from is over, and this stands still.",
    Cause.UNSHELVED: "Its shelving has ended, and it stands still.",
}


def _text_of(transition: Transition, names: Names) -> Text:
    kind, cause = transition.alarm.key.kind, transition.cause
    words = _WORDS.get((kind, cause))
    if cause.calls:
        title, sentences = (words or _WORDS[kind, Cause.RAISED])(transition, names)
        again = [_AGAIN[cause]] if cause in _AGAIN else []
        return title, [*again, *sentences, *_held(transition)]
    return (words or _withdrawn)(transition, names)


def _held(transition: Transition) -> list[str]:
    if transition.cause is not Cause.RAISED or not transition.alarm.latched:
        return []
    return ["It comes and goes: it is held as one alarm now, until it has been quiet for longer."]


def _withdrawn(transition: Transition, names: Names) -> Text:
    key = transition.alarm.key
    place = short(key.enclosure) if key.enclosure else "the monitor"
    where = enclosure_words(transition, names) if key.enclosure else "the monitor"
    body = (
        f"The alarm {key.kind!s} in {where} stood since {since(transition, names)}; what it was "
        "judged by is no longer there."
    )
    return f"No longer watched: {key.kind} in {place}", [body]


_WORDS: Mapping[tuple[Kind, Cause], _Words] = {
    (Kind.WARM_SIDE_LOW, Cause.RAISED): texts_warmth.low_raised,
    (Kind.WARM_SIDE_LOW, Cause.ESCALATED): texts_warmth.low_escalated,
    (Kind.WARM_SIDE_LOW, Cause.CLEARED): texts_warmth.low_cleared,
    (Kind.WARM_SIDE_LOW, Cause.WITHDRAWN): texts_warmth.low_withdrawn,
    (Kind.TOO_HOT, Cause.RAISED): texts_warmth.hot_raised,
    (Kind.TOO_HOT, Cause.CLEARED): texts_warmth.hot_cleared,
    (Kind.COOL_SIDE_WARM, Cause.RAISED): texts_warmth.cool_raised,
    (Kind.COOL_SIDE_WARM, Cause.CLEARED): texts_warmth.cool_cleared,
    (Kind.SEVERAL_COOLING, Cause.RAISED): texts_warmth.several_raised,
    (Kind.SEVERAL_COOLING, Cause.ESCALATED): texts_warmth.several_escalated,
    (Kind.SEVERAL_COOLING, Cause.CLEARED): texts_warmth.several_cleared,
    (Kind.HUMIDITY_LOW, Cause.RAISED): texts_probes.humidity_raised,
    (Kind.HUMIDITY_LOW, Cause.CLEARED): texts_probes.humidity_cleared,
    (Kind.HUMIDITY_HIGH, Cause.RAISED): texts_probes.humidity_raised,
    (Kind.HUMIDITY_HIGH, Cause.CLEARED): texts_probes.humidity_cleared,
    (Kind.NO_READINGS, Cause.RAISED): texts_probes.silent_raised,
    (Kind.NO_READINGS, Cause.CLEARED): texts_probes.silent_cleared,
    (Kind.NO_READINGS, Cause.WITHDRAWN): texts_probes.silent_withdrawn,
    (Kind.PROBE_DOUBTED, Cause.RAISED): texts_probes.doubted_raised,
    (Kind.PROBE_DOUBTED, Cause.CLEARED): texts_probes.believed_again,
    (Kind.PROBE_STUCK, Cause.RAISED): texts_probes.stuck_raised,
    (Kind.PROBE_STUCK, Cause.CLEARED): texts_probes.believed_again,
    (Kind.PROBES_DISAGREE, Cause.RAISED): texts_probes.apart_raised,
    (Kind.PROBES_DISAGREE, Cause.CLEARED): texts_probes.apart_cleared,
    (Kind.SEVERAL_SILENT, Cause.RAISED): texts_home.several_silent_raised,
    (Kind.SEVERAL_SILENT, Cause.CLEARED): texts_home.several_silent_cleared,
    (Kind.COLLECTOR_SILENT, Cause.RAISED): texts_home.collector_raised,
    (Kind.COLLECTOR_SILENT, Cause.CLEARED): texts_home.collector_cleared,
    (Kind.BROKER_AWAY, Cause.RAISED): texts_home.source_raised,
    (Kind.BROKER_AWAY, Cause.CLEARED): texts_home.source_cleared,
    (Kind.LINE_AWAY, Cause.RAISED): texts_home.source_raised,
    (Kind.LINE_AWAY, Cause.CLEARED): texts_home.source_cleared,
    (Kind.NOT_WRITTEN, Cause.RAISED): texts_home.not_written_raised,
    (Kind.NOT_WRITTEN, Cause.CLEARED): texts_home.not_written_cleared,
    (Kind.CARD_FILLING, Cause.RAISED): texts_home.card_raised,
    (Kind.CARD_FILLING, Cause.CLEARED): texts_home.card_cleared,
    (Kind.CLOCK_UNSURE, Cause.RAISED): texts_home.clock_raised,
    (Kind.CLOCK_UNSURE, Cause.CLEARED): texts_home.clock_cleared,
    (Kind.FLOOD, Cause.RAISED): texts_home.flood_raised,
    (Kind.FLOOD, Cause.CLEARED): texts_home.flood_cleared,
}
