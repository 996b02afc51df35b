"""Every probe as it stands: its last readings, their age, its place. Light: no numpy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from collector.book.book import Book
from collector.book.records import Placement
from collector.readings import Flag, Quantity, Reading
from collector.store.reader import Reader
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class ProbeState:
    """One probe. `latest` has its newest reading per quantity, flagged or not."""

    probe: str
    name: str | None
    placement: Placement | None
    latest: tuple[Reading, ...]
    now_ms: int

    def age_seconds(self, reading: Reading) -> float:
        """Age of a reading in s; negative when it bears a time to come."""
        return (self.now_ms - reading.at_ms) / 1000

    def as_json(self) -> dict[str, Any]:
        """JSON form; times RFC 3339 UTC, ages in s, values in °C, %RH and V."""
        place = self.placement
        return {
            "probe": self.probe,
            "name": self.name,
            "enclosure": place.enclosure if place else None,
            "zone": place.zone.value if place else None,
            "readings": [self._reading_json(one) for one in self.latest],
        }

    def _reading_json(self, one: Reading) -> dict[str, Any]:
        return {
            "quantity": one.quantity.value,
            "at_ms": one.at_ms,
            "age_seconds": self.age_seconds(one),
            "value": one.value,
            "raw": one.raw,
            "doubts": doubts(one.flags),
        }


def doubts(flags: Flag) -> list[str]:
    """The failed plausibility checks in words."""
    return [str(flag.name).lower().replace("_", " ") for flag in Flag if flag and flag in flags]


def probe_states(book: Book, reader: Reader, settings: Settings, now_ms: int) -> list[ProbeState]:
    """Every probe that is placed now, was heard or stands in the settings; ordered by place."""
    placed = {
        one.probe: one
        for one in book.placements()
        if one.since_ms <= now_ms and (one.until_ms is None or now_ms < one.until_ms)
    }
    names = {one.id: one.name for one in settings.probe}
    latest: dict[str, list[Reading]] = {}
    order = list(Quantity)
    for key, reading in reader.latest().items():
        latest.setdefault(key.probe, []).append(reading)
    everyone = set(placed) | set(names) | set(latest)
    states = [
        ProbeState(
            probe=probe,
            name=names.get(probe),
            placement=placed.get(probe),
            latest=tuple(sorted(latest.get(probe, ()), key=lambda r: order.index(r.quantity))),
            now_ms=now_ms,
        )
        for probe in everyone
    ]
    return sorted(states, key=_by_place)


def _by_place(state: ProbeState) -> tuple[bool, str, str, str]:
    place = state.placement
    if place is None:
        return (True, "", "", state.probe)
    return (False, place.enclosure, place.zone.value, state.probe)
