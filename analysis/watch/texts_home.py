"""What the keeper is told of the monitor itself, and of many alarms at once."""

from __future__ import annotations

from analysis.watch.phrases import Names, Text, clock, digesting_lines, lasted, listed, moment
from analysis.watch.states import Kind, Transition
from analysis.words import about_days, plain

_BLIND = "Until then nothing warns you of a cold or a hot enclosure."


def collector_raised(transition: Transition, names: Names) -> Text:
    """No probe reports."""
    last = moment(transition.alarm.since_ms, names)
    body = (
        f"No probe at all has reported since {last}. Either the collector has ended, or what "
        "brings its readings has: power, a cable, the network."
    )
    first = "First: see that the board has power and that the collector runs (warmcoil collect)."
    return "No readings from any probe", [body, _BLIND, first]


def collector_cleared(transition: Transition, names: Names) -> Text:
    """Readings come again."""
    body = (
        f"Readings come again, since {clock(transition.over_ms, names)}. There were none for "
        f"{lasted(transition)}. A probe that stays silent is said by itself."
    )
    return "All clear: readings come again", [body]


def source_raised(transition: Transition, names: Names) -> Text:
    """The broker, or a line, is away."""
    what = _source(transition)
    body = (
        f"The collector has been without {what} since {moment(transition.alarm.since_ms, names)}. "
        "The probes behind it cannot be heard."
    )
    if transition.alarm.key.kind is Kind.BROKER_AWAY:
        first = "First: see that the MQTT broker runs, and that the network to it works."
    else:
        first = "First: check the cable and the power of the node at that line."
    return f"{what[:1].upper()}{what[1:]} is away", [body, _BLIND, first]


def source_cleared(transition: Transition, names: Names) -> Text:
    """It is there again."""
    what = _source(transition)
    body = f"The collector has {what} again, since {clock(transition.over_ms, names)}."
    return f"All clear: {what} is back", [f"{body} It was away for {lasted(transition)}."]


def _source(transition: Transition) -> str:
    if transition.alarm.key.kind is Kind.BROKER_AWAY:
        return "the MQTT broker"
    return f"the line {plain(transition.alarm.key.probe or '')}"


def several_silent_raised(transition: Transition, names: Names) -> Text:
    """Several probes fell silent together."""
    places = [plain(name) for name in transition.names]
    where = listed(places) if places else "several places"
    body = (
        f"Several probes fell silent together, at about {moment(transition.alarm.since_ms, names)}"
        f": in {where}. One cause is likely: a node, a line, a plug, a radio."
    )
    first = "First: check the power and the cable of what these probes share."
    return f"Several probes are silent: {where}", [
        body,
        _BLIND,
        *digesting_lines(transition),
        first,
    ]


def several_silent_cleared(transition: Transition, _: Names) -> Text:
    """They report again."""
    body = f"Probes that fell silent together report again. It lasted {lasted(transition)}."
    return "All clear: the silent probes report again", [body]


def not_written_raised(transition: Transition, names: Names) -> Text:
    """The collector cannot write."""
    body = (
        "The collector has been unable to write its readings since "
        f"{moment(transition.alarm.since_ms, names)}. It keeps them in memory for a while; "
        "then they are lost."
    )
    first = "First: make room on the disk, and see the collector's log for what it says."
    return "Readings cannot be written", [body, _BLIND, first]


def not_written_cleared(transition: Transition, _: Names) -> Text:
    """It can again."""
    return "All clear: readings are written again", [f"It lasted {lasted(transition)}."]


def card_raised(transition: Transition, names: Names) -> Text:
    """Little room is left."""
    free = _mb(transition.value)
    body = f"{free} are free where Warmcoil keeps its readings."
    if names.hours_to_full is not None:
        body += f" At the pace of the last hours that lasts {about_days(names.hours_to_full / 24)}."
    first = "First: make room there: old backups and logs, or a larger card."
    return f"The card is filling: {free} left", [body, "When it is full, readings are lost.", first]


def card_cleared(transition: Transition, _: Names) -> Text:
    """There is room again."""
    return f"All clear: {_mb(transition.value)} free", ["There is room for readings again."]


def clock_raised(_: Transition, __: Names) -> Text:
    """The clock cannot be believed."""
    body = (
        "The board's clock cannot be believed: nothing has set it since it started. Readings "
        "without a time of their own wait for it, and times in messages may be wrong."
    )
    first = "First: see that the board reaches the network, where it learns the time."
    return "The clock is not sure", [body, first]


def clock_cleared(_: Transition, __: Names) -> Text:
    """It can."""
    return "All clear: the clock is right again", ["Times can be believed again."]


# ---- many at once ---------------------------------------------------------------------------


def flood_raised(transition: Transition, names: Names) -> Text:
    """Many alarms as one message."""
    listing = [f"- {plain(name)}" for name in transition.names]
    body = (
        f"More than {transition.alarm.setpoint or 0:.0f} alarms have come within 10 minutes, since "
        f"{moment(transition.alarm.since_ms, names)}. What stands, the most urgent first:"
    )
    first = "First: look for one cause: power, network, a heater that many share."
    last = "Until it is calmer, only urgent ones about warmth are said by themselves."
    return f"Many alarms at once: {len(listing)} stand", [body, *listing, first, last]


def flood_cleared(transition: Transition, _: Names) -> Text:
    """It is calmer."""
    if not transition.names:
        return "All clear: no alarm stands any more", ["The flood of alarms is over."]
    listing = [f"- {plain(name)}" for name in transition.names]
    title = f"Calmer: {len(listing)} alarms still stand"
    return title, ["The flood of alarms is over. What still stands:", *listing]


def _mb(value: float | None) -> str:
    return "not known" if value is None else f"{value:,.0f} MB"
