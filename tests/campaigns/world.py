"""Twelve enclosures over a year: the simulated rack under the plan's faults, its readings flagged
by the collector's own judge and committed to a real journal, sealed into a real archive."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from analysis.watch.states import DAY_MS, HOUR_MS, MINUTE_MS
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Meal,
    Outcome,
    Placement,
    Stay,
    Weighing,
    Zone,
)
from collector.plausible import Judge
from collector.readings import Flag, Quantity, Reading
from collector.rfc3339 import written
from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.home import Home
from config.settings import Settings
from hardware.rack.enclosure import EnclosureBuild
from hardware.rack.faults import DoorOpen, Fault, Heater, HeaterFault, Misting, PowerCut
from hardware.rack.faults import Script, ThermostatDrift, Unplugged
from hardware.rack.layout import Seat
from hardware.rack.probe import ProbeBuild, Sample, SensorName
from hardware.rack.rack import Rack
from hardware.rack.room import Room
from tests.campaigns.faults import Planned

ENCLOSURES = ("Alder", "Birch", "Cedar", "Elm", "Fir", "Hazel", "Larch", "Maple", "Oak", "Pine",
              "Rowan", "Willow")  # fmt: skip
BROKER, LINE = "mqtt", "serial /dev/ttyUSB0"
_ROOM = "Study"
_BEFORE_MS = 30 * DAY_MS


def warm(name: str) -> str:
    return f"{name}-warm"


def cool(name: str) -> str:
    return f"{name}-cool"


def by_radio(probe: str) -> bool:
    """Every other enclosure's probes come through the broker, the rest over a serial line."""
    name = probe.rpartition("-")[0]
    return name in ENCLOSURES and ENCLOSURES.index(name) % 2 == 1


def make_book(home: Home, start_ms: int, days: int, seed: int) -> None:
    """An animal in each enclosure, fed every fortnight; most meals are kept."""
    draw = random.Random(f"book {seed}")
    since_ms = start_ms - _BEFORE_MS
    until = start_ms + days * DAY_MS
    with Book(home.book, now_ms=lambda: until) as book, book.transaction():
        for number, name in enumerate(ENCLOSURES):
            animal = f"Animal {number + 1}"
            for record in (
                Enclosure(name, room=_ROOM),
                Animal(animal),
                Stay(animal, name, since_ms),
                Placement(warm(name), name, Zone.WARM_SIDE, since_ms),
                Placement(cool(name), name, Zone.COOL_SIDE, since_ms),
                Weighing(animal, since_ms + DAY_MS, 2_000.0),
            ):
                book.put(record)
            at_ms = start_ms + draw.randrange(14 * DAY_MS) // MINUTE_MS * MINUTE_MS
            while at_ms < until:
                book.put(
                    Meal(0, animal, taken_at_ms=at_ms, prey="rat", prey_mass_g=200.0,
                         outcome=Outcome.KEPT, outcome_at_ms=min(at_ms + 9 * DAY_MS, until))
                )  # fmt: skip
                at_ms += 14 * DAY_MS
        book.put(Placement("study-room", ENCLOSURES[0], Zone.ROOM, since_ms))


def physical(plan: Sequence[Planned]) -> Iterator[Fault]:
    """The plan as far as the rack itself can carry it out."""
    for one in plan:
        span, name = (one.from_ms, one.until_ms), one.enclosure
        match one.kind.name:
            case "heater dies":
                yield HeaterFault(name, Heater.OFF, *span)
            case "thermostat drifts down":
                yield ThermostatDrift(name, -7.0, *span)
            case "heater stuck on":
                yield HeaterFault(name, Heater.STUCK_ON, *span)
            case "door left open":
                yield DoorOpen(name, *span)
            case "probe unplugged":
                yield Unplugged(warm(name), *span)
            case "power cut, rack and probes":
                yield PowerCut(*span)
            case "heating circuit off":
                yield from (HeaterFault(each, Heater.OFF, *span) for each in ENCLOSURES)


def daily_life(start_ms: int, days: int, seed: int) -> Iterator[Fault]:
    """Doors opened for a few minutes, water sprayed: what must raise no alarm."""
    draw = random.Random(f"life {seed}")
    for day in range(days):
        for name in ENCLOSURES:
            morning = start_ms + day * DAY_MS + 7 * HOUR_MS + draw.randrange(3 * HOUR_MS)
            yield DoorOpen(name, morning, morning + draw.randrange(1, 8) * MINUTE_MS)
            if draw.random() < 0.5:
                yield Misting(name, morning, morning + MINUTE_MS)


class Reported(Script):
    """A script that holds only today's faults: a year of them is long to search."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__()
        self._all = sorted(faults, key=lambda fault: fault.from_ms)
        self._next = 0

    def begin_day(self, day_ms: int) -> None:
        """Take in what begins within the day, and forget what is over."""
        self._faults = [f for f in self._faults if f.until_ms > day_ms]
        while self._next < len(self._all) and self._all[self._next].from_ms < day_ms + DAY_MS:
            self._faults.append(self._all[self._next])
            self._next += 1
        self._forget()


@dataclass
class Collector:
    """Readings of the rack as the collector takes them in, a commit a minute."""

    home: Home
    plan: Sequence[Planned]
    start_ms: int
    days: int
    seed: int

    def __post_init__(self) -> None:
        draw = random.Random(f"builds {self.seed}")
        faults = [*physical(self.plan), *daily_life(self.start_ms, self.days, self.seed)]
        self._script = Reported(faults)
        self._script.begin_day(self.start_ms)
        sensors = self._sensors()
        builds = [
            EnclosureBuild(
                name, setpoint_c=draw.uniform(30.6, 31.8), hysteresis_k=draw.uniform(0.4, 1.2),
                heat_k=draw.uniform(21, 25), warm_tau_s=draw.uniform(6_000, 11_000),
                wet_hpa=draw.uniform(6.0, 8.0),
            )
            for name in ENCLOSURES
        ]  # fmt: skip
        seats = [Seat(warm(n), n, "warm side") for n in ENCLOSURES]
        seats += [Seat(cool(n), n, "cool side") for n in ENCLOSURES]
        seats.append(Seat("study-room", None, "room"))
        self._rack = Rack(
            seed=self.seed, room=Room(self.seed), enclosures=builds,
            probes=[ProbeBuild(s.probe, sensors[s.probe], draw.gauss(0.0, 0.1)) for s in seats],
            seats=seats, script=self._script, start_ms=self.start_ms,
        )  # fmt: skip
        self._judge = Judge(Settings().plausibility, dict(sensors))
        self._journal = Journal(self.home.journal)
        self._archive = SqliteArchive(self.home.archive)
        self._noise = random.Random(f"lost {self.seed}")
        self._stuck: dict[str, float] = {}
        self._account: object = None
        self._dead_pid = _dead_pid()
        self.true_low: dict[str, list[tuple[int, float]]] = {}

    @staticmethod
    def _sensors() -> dict[str, SensorName]:
        sensors: dict[str, SensorName] = {warm(n): "DS18B20" for n in ENCLOSURES}
        sensors |= {cool(n): "SHT4x" for n in ENCLOSURES}
        return sensors | {"study-room": "SHT4x"}

    def minute(self, real_ms: int, clock_ms: int) -> None:
        """Go on to `real_ms`, and keep what the probes say then, as of the clock's `clock_ms`."""
        if real_ms % DAY_MS == 0:
            self._script.begin_day(real_ms)
        self._rack.advance(real_ms)
        now = [p for p in self.plan if p.from_ms <= real_ms < p.until_ms]
        alive = not any(p.kind.name == "collector killed" for p in now)
        away = any(p.kind.name == "broker away" for p in now)
        self._write_account(clock_ms, alive=alive, away=away)
        samples = self._rack.read()
        if not alive:
            return
        readings = [
            self._reading(sample, now, clock_ms)
            for sample in samples
            if not (away and by_radio(sample.probe)) and self._noise.random() > 0.005
        ]
        self._journal.commit(readings)
        if real_ms % HOUR_MS == 0:
            seal(self._journal, self._archive)

    def warm_c(self, name: str) -> float:
        """The truth."""
        return self._rack.enclosure(name).warm_c

    def close(self) -> None:
        self._journal.close()
        self._archive.close()

    def _reading(self, sample: Sample, now: Sequence[Planned], clock_ms: int) -> Reading:
        value = sample.value
        for fault in now:
            if fault.enclosure and sample.probe.startswith(f"{fault.enclosure}-"):
                value = self._spoilt(sample, fault, value)
        if not any(p.kind.name == "probe stuck" for p in now):
            self._stuck.clear()
        reading = Reading(sample.probe, sample.quantity, clock_ms, value)
        flags = self._judge.flags(reading)
        return replace(reading, flags=flags) if flags is not Flag.NONE else reading

    def _spoilt(self, sample: Sample, fault: Planned, value: float) -> float:
        is_warm, name = sample.probe == warm(fault.enclosure), fault.kind.name
        if is_warm and name == "probe stuck":
            return self._stuck.setdefault(sample.probe, value)
        if is_warm and (
            name == "reads 85 °C once"
            or (name == "reads 85 °C again and again" and self._noise.random() < 0.8)
        ):
            return 85.0
        if sample.quantity is Quantity.HUMIDITY and name == "too wet":
            return max(value, 92.0)
        if sample.quantity is Quantity.HUMIDITY and name == "too dry":
            return min(value, 33.0)
        return value

    def _write_account(self, clock_ms: int, *, alive: bool, away: bool) -> None:
        if (alive, away) == self._account:
            return
        self._account = (alive, away)
        sources = {
            name: {"connected": connected, "since": written(clock_ms)}
            for name, connected in ((BROKER, not away), (LINE, True))
        }
        pid = os.getpid() if alive else self._dead_pid
        state = {"at": written(clock_ms), "pid": pid, "store": "written", "held": 0,
                 "sources": sources}  # fmt: skip
        fresh = self.home.collector_state.with_suffix(".new")
        fresh.write_text(json.dumps(state), "utf-8")
        fresh.replace(self.home.collector_state)


def _dead_pid() -> int:
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    with suppress(ProcessLookupError):
        os.kill(process.pid, 0)
    return process.pid
