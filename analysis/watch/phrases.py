"""The phrases of the alarm texts: names, temperatures, moments and spans as a keeper reads them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from analysis.watch.states import HOUR_MS, Digesting, Transition
from analysis.words import hours, local_clock, local_day, plain, temperature
from collector.readings import Flag
from config.settings import Settings

Text = tuple[str, list[str]]
"""A title, and sentences."""
WATCHES_ONLY = "Warmcoil watches; it never switches heat."
_MOST_NAME = 32
_MOST_DIGESTING = 4
_FLAG_WORDS = {
    Flag.OUT_OF_RANGE: "outside what the sensor can measure",
    Flag.POWER_ON: "the value of a sensor that has just been switched on",
    Flag.DISCONNECTED: "the value of a probe that is not connected",
    Flag.JUMP: "a jump that no enclosure can make",
    Flag.STUCK: "the same value for hours while others moved",
}


@dataclass(frozen=True, slots=True)
class LastWord:
    """What a probe said last: its newest usable temperature, and whether it goes on with
    readings that fail the plausibility check (`doubted`: the flags of the newest)."""

    at_ms: int | None = None
    value_c: float | None = None
    doubted: Flag = Flag.NONE


@dataclass(frozen=True, slots=True)
class Names:
    """What a text needs beside the transition itself."""

    settings: Settings
    rooms: Mapping[str, str] = field(default_factory=dict)
    zones: Mapping[str, str] = field(default_factory=dict)
    last_words: Mapping[str, LastWord] = field(default_factory=dict)
    hours_to_full: float | None = None


def shown(value_c: float | None, names: Names) -> str:
    """A temperature in the keeper's unit."""
    return temperature(value_c, names.settings)


def shown_low(value_c: float | None, floor_c: float | None, names: Names) -> str:
    """A temperature below the floor, also where both are the same to 0.1."""
    value, floor = shown(value_c, names), shown(floor_c, names)
    return f"just under {floor}" if value == floor else value


def shown_high(value_c: float | None, limit_c: float | None, names: Names) -> str:
    """A temperature above a limit, also where both are the same to 0.1."""
    value, limit = shown(value_c, names), shown(limit_c, names)
    return f"just over {limit}" if value == limit else value


def enclosure_words(transition: Transition, names: Names) -> str:
    """The enclosure, with its room where known: "Larch (back room)"."""
    enclosure = transition.alarm.key.enclosure
    room = names.rooms.get(enclosure)
    return f"{plain(enclosure)} ({plain(room)})" if room else plain(enclosure)


def probe_words(transition: Transition, names: Names) -> str:
    """The probe, by its name in the settings where it has one."""
    probe = transition.alarm.key.probe or ""
    named = {p.id: p.name for p in names.settings.probe if p.name}
    return f"{plain(named[probe])} ({plain(probe)})" if probe in named else plain(probe)


def place_words(transition: Transition, names: Names) -> str:
    """The zone in which the probe lies: "warm side"."""
    return names.zones.get(transition.alarm.key.probe or "", "probe")


def last_word(transition: Transition, names: Names) -> LastWord:
    """What the transition's probe said last."""
    return names.last_words.get(transition.alarm.key.probe or "", LastWord())


def doubts(flags: Flag) -> str:
    """Why readings are doubted, in words."""
    return ", ".join(words for flag, words in _FLAG_WORDS.items() if flag in flags)


def clock(at_ms: int | None, names: Names) -> str:
    """The time of day at home: "21:40"."""
    return "a time not known" if at_ms is None else local_clock(at_ms, names.settings.zone)


def moment(at_ms: int | None, names: Names) -> str:
    """ "21:40 WET on Tue 3 Mar": with the zone, as one clock time comes twice in autumn."""
    if at_ms is None:
        return "a time not known"
    zone = names.settings.zone
    name = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).tzname() or ""
    return f"{local_clock(at_ms, zone)} {name} on {local_day(at_ms, zone)}"


def since(transition: Transition, names: Names) -> str:
    """Since when the condition holds."""
    alarm = transition.alarm
    return moment(alarm.since_ms, names) + (" or before" if alarm.since_open else "")


def lasted(transition: Transition) -> str:
    """How long the condition held."""
    since_ms, over_ms = transition.alarm.since_ms, transition.over_ms
    if since_ms is None or over_ms is None:
        return "a time not known"
    least = "at least " if transition.alarm.since_open else ""
    return f"{least}{hours_and_minutes(max(0, over_ms - since_ms))}"


def hours_and_minutes(span_ms: int) -> str:
    """A span to the minute: "2 h 10 min"."""
    whole, minutes = divmod(span_ms // 60_000, 60)
    if whole >= 1:
        return f"{whole} h {minutes} min" if minutes else f"{whole} h"
    return hours(span_ms / HOUR_MS)


def short(name: str) -> str:
    """A name that leaves room on a lock screen."""
    name = plain(name)
    return name if len(name) <= _MOST_NAME else name[: _MOST_NAME - 1] + "…"


def listed(names: Sequence[str]) -> str:
    """Names as a person lists them: "Juno, Maren and Tove"."""
    if len(names) < 2:
        return names[0] if names else "several places"
    return f"{', '.join(names[:-1])} and {names[-1]}"


# ---- who digests, and what to do ------------------------------------------------------------


def meanwhile(transition: Transition) -> str:
    """ ", Tove digesting" for a title, or nothing."""
    animals = digesting_names(transition)
    if not animals:
        return ""
    more = f" and {len(animals) - 1} more" if len(animals) > 1 else ""
    return f", {short(animals[0])}{more} digesting"


def digesting_names(transition: Transition) -> list[str]:
    """The animals that digest there."""
    return sorted({plain(d.animal) for d in transition.digesting})


def digesting_lines(transition: Transition) -> list[str]:
    """One sentence for each animal that digests there, with the hours since its meal."""
    several = transition.digesting
    lines = [_one_digesting(d, transition.at_ms) for d in several[:_MOST_DIGESTING]]
    more = len(several) - _MOST_DIGESTING
    return [*lines, f"And {more} more digest."] if more > 0 else lines


def _one_digesting(digesting: Digesting, at_ms: int) -> str:
    elapsed = hours((at_ms - digesting.taken_ms) / HOUR_MS)
    return f"{plain(digesting.animal)} is digesting {digesting.prey}, taken {elapsed} before that."


def what_to_do(
    transition: Transition, first: str = "check that the heater and its thermostat have power."
) -> list[str]:
    """What to do first, and that nothing is done by itself."""
    text = f"First: {first}"
    animals = digesting_names(transition)
    if animals:
        text += f" Do not handle {listed(animals)}."
    return [text, WATCHES_ONLY]
