"""A rack: its enclosures stepped together, and what its probes say at any moment."""

from __future__ import annotations

from collections.abc import Sequence

from hardware.rack.enclosure import Enclosure, EnclosureBuild
from hardware.rack.faults import Script
from hardware.rack.layout import Layout, Seat, ZoneName
from hardware.rack.probe import Probe, ProbeBuild, Sample
from hardware.rack.room import Room, saturation_hpa

_STEP_MS = 60_000
_SETTLE_MS = 24 * 3_600_000

WARM_SHARE: dict[ZoneName, float] = {
    "warm side": 1.0,
    "cool side": 0.0,
    "hot spot": 1.15,
    "hide": 0.35,
}
"""Where a zone lies between cool side (0) and warm side (1); a hot spot beyond it."""


class Rack:
    """Enclosures and probes under a script of faults, from `start_ms` on, forwards only.

    The enclosures have run for a day before `start_ms`, so that the first reading is not special.
    Equal arguments, advanced through equal times, give equal readings.
    """

    def __init__(
        self,
        *,
        seed: int,
        room: Room,
        enclosures: Sequence[EnclosureBuild],
        probes: Sequence[ProbeBuild],
        seats: Sequence[Seat],
        script: Script,
        start_ms: int,
    ) -> None:
        self.script = script
        self._room = room
        self._now_ms = start_ms - _SETTLE_MS
        room_c = room.temperature_c(self._now_ms)
        self._enclosures = {b.name: Enclosure(b, room_c) for b in enclosures}
        self._probes = [Probe(b, seed) for b in probes]
        self._seats: dict[str, list[Seat]] = {b.probe: [] for b in probes}
        for seat in seats:
            if seat.probe in self._seats:
                self._seats[seat.probe].append(seat)
        self.advance(start_ms)

    @classmethod
    def of(cls, layout: Layout, script: Script, start_ms: int) -> Rack:
        """The rack a layout describes, every probe in its place for good."""
        return cls(
            seed=layout.seed,
            room=Room(layout.seed, layout.room),
            enclosures=layout.enclosure,
            probes=[p.build() for p in layout.probe],
            seats=[p.seat() for p in layout.probe],
            script=script,
            start_ms=start_ms,
        )

    @property
    def now_ms(self) -> int:
        """The time it has come to (UTC)."""
        return self._now_ms

    def enclosure(self, name: str) -> Enclosure:
        """One of its enclosures."""
        return self._enclosures[name]

    def advance(self, to_ms: int) -> None:
        """Go on to `to_ms`, in steps of a minute at most."""
        while self._now_ms < to_ms:
            at_ms = self._now_ms
            step_ms = min(_STEP_MS, to_ms - at_ms)
            room_c = self._room.temperature_c(at_ms)
            for name, enclosure in self._enclosures.items():
                state = self.script.enclosure(name, at_ms)
                enclosure.step(step_ms / 1000, at_ms, room_c, state)
            self._now_ms = at_ms + step_ms

    def read(self) -> list[Sample]:
        """What every probe that has a place and power says now."""
        at_ms = self._now_ms
        room_c, room_hpa = self._room.temperature_c(at_ms), self._room.vapour_hpa(at_ms)
        samples: list[Sample] = []
        for probe in self._probes:
            state = self.script.probe(probe.build.probe, at_ms)
            if not state.powered:
                probe.power_lost()
                continue
            seat = self._seat(probe.build.probe, at_ms)
            if seat is None:
                continue
            air_c, rh_pct = self._air(seat, state.fallen, room_c, room_hpa)
            samples += probe.read(at_ms, air_c, rh_pct, plugged=state.plugged)
        return samples

    def _seat(self, probe: str, at_ms: int) -> Seat | None:
        for seat in self._seats[probe]:
            if seat.from_ms <= at_ms < seat.until_ms:
                return seat
        return None

    def _air(self, seat: Seat, fallen: bool, room_c: float, room_hpa: float) -> tuple[float, float]:
        if seat.enclosure is None:
            return room_c, 100.0 * room_hpa / saturation_hpa(room_c)
        share = 0.0 if fallen else WARM_SHARE[seat.zone]
        enclosure = self._enclosures[seat.enclosure]
        return enclosure.air_c(share), enclosure.humidity_pct(share, room_hpa)
