"""What the keeper is told of probes: silent, doubted, stuck, apart; and of moist or dry air."""

from __future__ import annotations

from analysis.watch.phrases import (
    Names,
    Text,
    clock,
    digesting_lines,
    doubts,
    enclosure_words,
    last_word,
    lasted,
    moment,
    place_words,
    probe_words,
    short,
    shown,
    since,
)
from analysis.watch.states import Kind, Transition
from analysis.words import temperature_change

# ---- no readings ----------------------------------------------------------------------------


def silent_raised(transition: Transition, names: Names) -> Text:
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


def silent_cleared(transition: Transition, names: Names) -> Text:
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


def silent_withdrawn(transition: Transition, names: Names) -> Text:
    probe, where = probe_words(transition, names), enclosure_words(transition, names)
    title = f"Silent probe in {short(transition.alarm.key.enclosure)} is no longer watched"
    body = (
        f"Probe {probe} in {where} was silent since {since(transition, names)}; it is no longer "
        "placed there."
    )
    return title, [body]


# ---- probes that cannot be believed ---------------------------------------------------------

_BLIND = "Its readings are not used meanwhile: nothing warns you of the temperature there."


def doubted_raised(transition: Transition, names: Names) -> Text:
    """Most readings of a probe fail the check."""
    place, why = place_words(transition, names), doubts(last_word(transition, names).doubted)
    title = f"Probe cannot be believed: {place} of {short(transition.alarm.key.enclosure)}"
    body = (
        f"Most of what probe {probe_words(transition, names)}, {place} of "
        f"{enclosure_words(transition, names)}, has sent since {since(transition, names)} cannot "
        f"be right{f' ({why})' if why else ''}."
    )
    last = last_word(transition, names)
    if last.at_ms is not None and last.value_c is not None:
        body += (
            f" Its last usable reading was {shown(last.value_c, names)}, "
            f"{moment(last.at_ms, names)}."
        )
    return title, [body, _BLIND, "First: check the probe and its plug."]


def stuck_raised(transition: Transition, names: Names) -> Text:
    """A probe says the same for hours."""
    place = place_words(transition, names)
    title = f"Probe is stuck: {place} of {short(transition.alarm.key.enclosure)}"
    body = (
        f"Probe {probe_words(transition, names)}, {place} of "
        f"{enclosure_words(transition, names)}, has said exactly the same for hours while other "
        "probes moved."
    )
    return title, [body, _BLIND, "First: unplug the probe, plug it in again, and see if it moves."]


def believed_again(transition: Transition, names: Names) -> Text:
    """A probe's readings are good again."""
    place = place_words(transition, names)
    title = f"All clear: {place} of {short(transition.alarm.key.enclosure)} measures again"
    body = (
        f"Probe {probe_words(transition, names)}, {place} of "
        f"{enclosure_words(transition, names)}, sends readings that can be right again, since "
        f"{clock(transition.over_ms, names)}."
    )
    return title, [body]


def apart_raised(transition: Transition, names: Names) -> Text:
    """Two probes of one zone are far apart."""
    alarm = transition.alarm
    apart = temperature_change(transition.value, names.settings)
    title = f"Probes disagree by {apart}: {alarm.key.probe} of {short(alarm.key.enclosure)}"
    body = (
        f"The probes on the {alarm.key.probe} of {enclosure_words(transition, names)} have been "
        f"more than {temperature_change(alarm.setpoint, names.settings)} apart since "
        f"{since(transition, names)}. Their mean is used, and one of them may be wrong."
    )
    return title, [body, "First: lay both side by side for an hour and compare them."]


def apart_cleared(transition: Transition, _: Names) -> Text:
    """They agree again."""
    key = transition.alarm.key
    title = f"All clear: probes on the {key.probe} of {short(key.enclosure)} agree again"
    return title, [f"They were apart for {lasted(transition)}."]


# ---- moist and dry air ----------------------------------------------------------------------


def humidity_raised(transition: Transition, names: Names) -> Text:
    """The air has been too dry or too moist for hours."""
    alarm = transition.alarm
    dry = alarm.key.kind is Kind.HUMIDITY_LOW
    title = (
        f"Air too {'dry' if dry else 'moist'} in {short(alarm.key.enclosure)}: {_pct(alarm.value)}"
    )
    body = (
        f"The air in {enclosure_words(transition, names)} has been {'below' if dry else 'above'} "
        f"{_pct(alarm.setpoint)} since {since(transition, names)}; at "
        f"{clock(transition.at_ms, names)} it was {_pct(transition.value)}."
    )
    first = (
        "First: mist, and see to the water dish."
        if dry
        else "First: air it, and see to wet substrate."
    )
    return title, [body, *digesting_lines(transition), first]


def humidity_cleared(transition: Transition, names: Names) -> Text:
    """The air is as it should be again."""
    alarm = transition.alarm
    title = f"All clear: air in {short(alarm.key.enclosure)} back at {_pct(transition.value)}"
    dry = alarm.key.kind is Kind.HUMIDITY_LOW
    furthest = "lowest" if dry else "highest"
    body = (
        f"The air in {enclosure_words(transition, names)} was too {'dry' if dry else 'moist'} for "
        f"{lasted(transition)}; {furthest} {_pct(alarm.lowest)}."
    )
    return title, [body]


def _pct(value: float | None) -> str:
    return "not known" if value is None else f"{value:.0f} %"
