"""Each enclosure's state as other programs may read it: one JSON object, retained on the broker.

    {"enclosure", "at", "warm_side": {"c", "at"} or null, "alarms": [{"alarm", "probe", "state",
    "priority", "since"}], "digesting": [{"animal", "prey", "taken_at"}]}

Times are RFC 3339 in UTC. An alarm is there while it stands, or is not acknowledged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.watch.rules_snapshot import Snapshot
from analysis.watch.states import MINUTE_MS, Alarm, AlarmKey, Kind, State
from collector.rfc3339 import written

TOPIC = "warmcoil/state/"
AGAIN_MS = 5 * MINUTE_MS
"""What has not changed is said again after this long."""
_SELDOM_MS = MINUTE_MS
"""A temperature that moves is said no more often than this; an alarm at once."""


@dataclass(slots=True)
class _Said:
    at_ms: int
    alarms: object
    warm: object
    digesting: object


class EnclosureStates:
    """What is to be published after each evaluation. Remembers each warm side's last value."""

    def __init__(self) -> None:
        self._warm: dict[str, tuple[int, float]] = {}
        self._said: dict[str, _Said] = {}

    def due(
        self, snapshot: Snapshot, alarms: Mapping[AlarmKey, Alarm], now_ms: int
    ) -> list[tuple[str, dict[str, Any]]]:
        """(topic, state) of every enclosure whose state has changed, or was said long ago."""
        for series in snapshot.series:
            if series.key.kind is Kind.WARM_SIDE_LOW and series.points:
                self._warm[series.key.enclosure] = series.points[-1]
        enclosures = {probe.enclosure for probe in snapshot.probes} | set(self._said)
        return [
            (TOPIC + topic_level(name), state)
            for name in sorted(enclosures)
            if (state := self._state(name, snapshot, alarms, now_ms)) is not None
        ]

    def forget(self) -> None:
        """Say everything again: nobody has heard it."""
        self._said.clear()

    def _state(
        self, name: str, snapshot: Snapshot, alarms: Mapping[AlarmKey, Alarm], now_ms: int
    ) -> dict[str, Any] | None:
        state: dict[str, Any] = {
            "enclosure": name,
            "at": written(now_ms),
            "warm_side": self._warm_side(name, snapshot),
            "alarms": [_alarm(one) for one in alarms.values() if _is_there(one, name)],
            "digesting": [
                {"animal": d.animal, "prey": d.prey, "taken_at": written(d.taken_ms)}
                for d in snapshot.digesting.get(name, ())
                if d.at(now_ms)
            ],
        }
        new = _Said(now_ms, state["alarms"], _tenths(state["warm_side"]), state["digesting"])
        if not _is_due(self._said.get(name), new):
            return None
        self._said[name] = new
        return state

    def _warm_side(self, name: str, snapshot: Snapshot) -> dict[str, Any] | None:
        placed = any(
            s.key.kind is Kind.WARM_SIDE_LOW and s.key.enclosure == name for s in snapshot.series
        )
        if not placed or name not in self._warm:
            return None
        at_ms, value_c = self._warm[name]
        return {"c": round(value_c, 2), "at": written(at_ms)}


def topic_level(name: str) -> str:
    """A name as one level of an MQTT topic (MQTT 5 §4.7): what may not stand there is `%` and
    the hex digits of its UTF-8 octets, as in RFC 3986 §2.1."""
    return "".join(
        "".join(f"%{octet:02X}" for octet in sign.encode(errors="replace"))
        if sign in "/+#%" or not sign.isprintable()
        else sign
        for sign in name
    )


def _is_there(alarm: Alarm, enclosure: str) -> bool:
    return alarm.key.enclosure == enclosure and alarm.state is not State.NORMAL


def _alarm(alarm: Alarm) -> dict[str, Any]:
    return {
        "alarm": alarm.key.kind,
        "probe": alarm.key.probe,
        "state": alarm.shown_state,
        "priority": alarm.priority.name.lower(),
        "since": written(alarm.since_ms) if alarm.since_ms is not None else None,
    }


def _tenths(warm_side: Mapping[str, Any] | None) -> float | None:
    return None if warm_side is None else round(warm_side["c"], 1)


def _is_due(said: _Said | None, new: _Said) -> bool:
    if said is None or new.at_ms < said.at_ms or new.at_ms - said.at_ms >= AGAIN_MS:
        return True
    if (said.alarms, said.digesting) != (new.alarms, new.digesting):
        return True
    return said.warm != new.warm and new.at_ms - said.at_ms >= _SELDOM_MS
