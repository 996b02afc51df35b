"""Finding the probe in a hand by the live readings of a home: what `probes find` and the page say.

The collector is asked to commit every second meanwhile (collector/haste): else a reading would
only be visible after up to 10 s, and a third of the half-minute gone. Light: no numpy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.probes import ProbeState
from analysis.warm_hand import LONGEST_MS, LOOKS_BACK_MS, Found, Series, find
from analysis.words import plain, temperature_change
from collector.readings import Flag, Quantity
from collector.store.reader import Reader
from config.settings import Settings

BEGIN = (
    "Take one probe into your closed hand now, where it lies if you can, and keep it there. "
    "It takes up to half a minute."
)
_QUIET_MS = 20_000
_KEPT_OUT = ~Flag.JUMP
"""A cold probe in a hand warms faster than an enclosure can: such a jump is what is sought."""


@dataclass(frozen=True, slots=True)
class Sought:
    """What is known `past_ms` after the beginning. `words` says it in one sentence or two."""

    probe: str | None
    over: bool
    past_ms: int
    words: str
    found: Found

    def as_json(self) -> dict[str, Any]:
        """JSON form: the probe or null, and each one's rise in °C since the beginning."""
        return {
            "probe": self.probe,
            "over": self.over,
            "seconds": self.past_ms / 1000,
            "words": self.words,
            "heard": self.found.heard,
            "rises": [
                {"probe": one.probe, "rise_c": one.rise_c}
                for one in self.found.warming
                if one.rise_c is not None
            ],
        }


def seek(
    reader: Reader, settings: Settings, states: Mapping[str, ProbeState], began_ms: int, now_ms: int
) -> Sought:
    """Who is in the hand since about `began_ms`, as of now; `states` names probes and places."""
    found = find(_recent(reader, began_ms, now_ms), began_ms)
    past_ms = now_ms - began_ms
    too_new = found.heard > 0 and found.known == 0
    over = found.probe is not None or too_new or past_ms >= LONGEST_MS
    words = _words(found, past_ms, states, settings)
    return Sought(found.probe, over, past_ms, words, found)


def _recent(reader: Reader, began_ms: int, now_ms: int) -> dict[str, Series]:
    """What every probe read in the last hour, as far as it may be used; °C."""
    recent: dict[str, Series] = {}
    for key in reader.latest():
        if key.quantity is not Quantity.TEMPERATURE:
            continue
        columns = reader.columns(key, began_ms - LOOKS_BACK_MS, now_ms + 1)
        rows = zip(columns.at_ms, columns.values(), columns.flags, strict=True)
        series = [(at_ms, value) for at_ms, value, flags in rows if not Flag(flags) & _KEPT_OUT]
        if series:
            recent[key.probe] = series
    return recent


def _words(found: Found, past_ms: int, states: Mapping[str, ProbeState], settings: Settings) -> str:
    if found.probe is not None:
        rise = temperature_change(found.warming[0].rise_c, settings)
        return f"It is {called(found.probe, states)}: {rise} so far, and no other warms with it."
    if not found.heard:
        heard = "no probe has been heard since"
        return f"Not sure yet: {heard}." + (
            " Is the collector running?" if past_ms > _QUIET_MS else ""
        )
    if not found.known:
        return (
            "Not sure yet: the probes have only just been heard, and it is not known how they "
            "behave by themselves. Wait a minute, then begin again."
        )
    if len(found.together) > 1:
        both = " and ".join(called(one.probe, states) for one in found.together[:2])
        return f"Not sure yet: {both} warm together. Shut the doors, hold one probe only."
    if past_ms >= LONGEST_MS:
        return (
            "Not sure yet, and the time is over. Let the probe lie in the room for five minutes, "
            "so that it is cooler than your hand, then begin again."
        )
    return "Not sure yet: no probe stands out. Keep it in your closed hand."


def called(probe: str, states: Mapping[str, ProbeState]) -> str:
    """A probe by its name and identity, with its place."""
    state = states.get(probe)
    name = f"{plain(state.name)} ({plain(probe)})" if state and state.name else plain(probe)
    if state is None or state.placement is None:
        return f"{name}, not placed"
    return f"{name}, {plain(state.placement.enclosure)}, {state.placement.zone.value}"
