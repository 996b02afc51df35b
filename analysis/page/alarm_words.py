"""What an alarm is called on the page, and where it stands, in a few words."""

from __future__ import annotations

from analysis.watch.states import Alarm, AlarmKey, Kind
from analysis.words import local_time, plain, temperature
from config.settings import Settings

_IN_CELSIUS = frozenset({Kind.WARM_SIDE_LOW, Kind.TOO_HOT, Kind.COOL_SIDE_WARM})
_IN_PERCENT = frozenset({Kind.HUMIDITY_LOW, Kind.HUMIDITY_HIGH})
_LOWEST = frozenset({Kind.WARM_SIDE_LOW, Kind.HUMIDITY_LOW})
_STATES = {"unacknowledged": "not acknowledged", "returned": "over, and not yet acknowledged",
           "normal": "over, and nothing waits"}  # fmt: skip
_WHO = {"page": "on the page", "link": "by a link in a message"}


def name_of(key: AlarmKey, settings: Settings) -> str:
    """ "Warm side low, left shelf"."""
    names = settings.probe_names
    probe = names.get(key.probe or "", key.probe)
    place = ", ".join(plain(part) for part in (key.enclosure, probe) if part)
    kind = f"{key.kind.value[:1].upper()}{key.kind.value[1:]}"
    return f"{kind}, {place}" if place else kind


def alarm_words(alarm: Alarm, settings: Settings) -> str:
    """ "Warm side low, left shelf: since Tue 3 Mar 2026, 21:40, lowest 24.1 °C"."""
    text = name_of(alarm.key, settings)
    if alarm.since_ms is not None:
        text += f": since {local_time(alarm.since_ms, settings.zone)}"
    furthest = furthest_words(alarm.key, alarm.lowest, settings)
    return f"{text}, {furthest}" if furthest else text


def furthest_words(key: AlarmKey, furthest: float | None, settings: Settings) -> str:
    """ "lowest 24.1 °C"; empty for a kind without a figure to tell, or where it is not known."""
    word = "lowest" if key.kind in _LOWEST else "highest"
    if furthest is None:
        return ""
    if key.kind in _IN_CELSIUS:
        return f"{word} {temperature(furthest, settings)}"
    return f"{word} {furthest:.0f} %" if key.kind in _IN_PERCENT else ""


def state_words(alarm: Alarm, settings: Settings) -> str:
    """Where it stands: "acknowledged"; "shelved until Tue 3 Mar 2026, 21:40"."""
    state = alarm.shown_state
    if alarm.shelved_until_ms is not None and not alarm.out_of_service:
        return f"shelved until {local_time(alarm.shelved_until_ms, settings.zone)}"
    return _STATES.get(state, state)


def by_whom(who: str | None) -> str:
    """Who answered: "by Ana"."""
    if who is None:
        return ""
    return _WHO.get(who, f"by {plain(who)}")
