"""A room of twelve enclosures, minute by minute: physics, ordinary life, and scripted faults.

Each enclosure is one store of heat over its room (time constant 1.5 to 4 h) with a two-point
thermostat; an opened door cools the air around the probe, not the store, and is made good within
minutes. The room swings by day and by season. Ordinary life is there to provoke false alarms:
doors opened, misting, meals, cold nights. Invented throughout.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.watch.states import Kind
from collector.plausible import Judge
from collector.readings import Quantity, Reading
from config.settings import Plausibility

ENCLOSURES = 12
TWO_PROBES = 4
"""So many of them, the first, have a second probe on the warm side."""
ON_THE_LINE = 6
"""So many, the first, are read over the serial line; the others over the broker."""
MINUTE_MS = 60_000
DAY_MS = 86_400_000
DAY_MIN = 1440
ALL = -1

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Fault:
    """What goes wrong in one enclosure (or ALL) for so many minutes, and what should be raised.

    `within_min`: the latest that the alarm may come after the cause, by the rule's own delays and
    the physics: how fast an enclosure can cool, dry or heat; what is judged by the clock needs two
    evaluations, which the campaign makes a quarter of an hour apart.
    """

    name: str
    enclosure: int
    from_min: int
    minutes: int
    expects: tuple[Kind, ...]
    within_min: int

    @property
    def until_min(self) -> int:
        """The minute at which it is over."""
        return self.from_min + self.minutes

    def on(self, minute: int, enclosure: int) -> bool:
        """True while it holds there."""
        here = self.enclosure in (ALL, enclosure)
        return here and self.from_min <= minute < self.until_min


LOW = (Kind.WARM_SIDE_LOW, Kind.SEVERAL_COOLING)
KINDS: tuple[tuple[str, int, tuple[Kind, ...], int], ...] = (
    ("heater dead", 8 * 60, LOW, 180),
    ("heater stuck on", 6 * 60, (Kind.TOO_HOT,), 240),
    ("thermostat low", 24 * 60, LOW, 300),
    ("probe unplugged", 3 * 60, (Kind.NO_READINGS,), 30),
    ("probe doubted", 60, (Kind.PROBE_DOUBTED, Kind.NO_READINGS), 30),
    ("probe stuck", 20 * 60, (Kind.PROBE_STUCK,), 13 * 60),
    ("probes disagree", 6 * 60, (Kind.PROBES_DISAGREE,), 90),
    ("too dry", 14 * 60, (Kind.HUMIDITY_LOW,), 8 * 60),
    ("too damp", 14 * 60, (Kind.HUMIDITY_HIGH,), 10 * 60),
    ("cool side heated", 5 * 60, (Kind.COOL_SIDE_WARM,), 150),
    ("heaters' fuse", 6 * 60, LOW, 180),
    ("collector dead", 90, (Kind.COLLECTOR_SILENT,), 30),
    ("broker away", 60, (Kind.BROKER_AWAY,), 20),
    ("line away", 60, (Kind.LINE_AWAY,), 20),
    ("not written", 60, (Kind.NOT_WRITTEN,), 35),
    ("clock unsure", 90, (Kind.CLOCK_UNSURE,), 30),
    ("card filling", 24 * 60, (Kind.CARD_FILLING,), 20),
)
FOR_ALL = frozenset(
    {"heaters' fuse", "collector dead", "broker away", "line away", "not written", "clock unsure",
     "card filling"}
)  # fmt: skip


def script(days: int, seed: int) -> list[Fault]:
    """Faults far enough apart that each stands for itself: in one enclosure two in 30 days."""
    rng = random.Random(seed)
    found: list[Fault] = []
    free = [2 * DAY_MIN] * ENCLOSURES
    minute = 2 * DAY_MIN
    while True:
        minute += rng.randrange(DAY_MIN, 3 * DAY_MIN)
        name, length, expects, within = rng.choice(KINDS)
        most = TWO_PROBES if name == "probes disagree" else ENCLOSURES
        where = ALL if name in FOR_ALL else rng.randrange(most)
        if minute + length + 2 * DAY_MIN > days * DAY_MIN:
            return found
        touched = range(ENCLOSURES) if where == ALL else (where,)
        if any(free[one] > minute for one in touched):
            continue
        found.append(Fault(name, where, minute, length, expects, within))
        for one in touched:
            free[one] = minute + length + DAY_MIN // 2


@dataclass
class Room:
    """The state of the room. `step` is one minute; readings carry the probes' noise."""

    seed: int
    faults: list[Fault]
    start_ms: int
    warm: Floats = field(init=False)
    humidity: Floats = field(init=False)
    heating: NDArray[np.bool_] = field(init=False)
    door_until: NDArray[np.int64] = field(init=False)
    draught: Floats = field(init=False)

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(self.seed)
        make = self._rng.uniform
        self.tau_min = make(90.0, 240.0, ENCLOSURES)
        self.setpoint = make(30.8, 32.2, ENCLOSURES)
        self.reach = make(22.0, 26.0, ENCLOSURES)
        self.warm = self.setpoint.copy()
        self.humidity = make(60.0, 68.0, ENCLOSURES)
        self.heating = np.zeros(ENCLOSURES, dtype=bool)
        self.door_until = np.zeros(ENCLOSURES, dtype=np.int64)
        self.draught = np.zeros(ENCLOSURES)
        self.beside = make(-0.3, 0.3, TWO_PROBES)
        self.stuck_at: dict[int, float] = {}
        self.judge = Judge(Plausibility(), {})
        self._active: list[Fault] = []

    def room_c(self, minute: int) -> float:
        """The room: 20 °C over the year ± 3, ± 1.5 over the day, coldest at six."""
        year = np.cos(2 * np.pi * (minute / DAY_MIN - 15) / 365)
        day = np.cos(2 * np.pi * ((minute % DAY_MIN) / DAY_MIN - 0.25))
        return float(20.0 - 3.0 * year - 1.5 * day)

    def step(self, minute: int) -> None:
        """One minute."""
        self._active = [f for f in self.faults if f.from_min <= minute < f.until_min]
        room = self.room_c(minute)
        setpoint = self.setpoint - 6.0 * self._mask("thermostat low")
        self.heating = np.where(
            self.warm < setpoint - 0.4,
            True,
            np.where(self.warm > setpoint + 0.4, False, self.heating),
        )
        power = self.heating.astype(float)
        power[self._mask("heater stuck on")] = 1.0
        power[self._mask("heater dead") | self._mask("heaters' fuse")] = 0.0
        self._open_doors(minute)
        door = self.door_until > minute
        self.draught += np.where(door, (-4.0 - self.draught) / 3.0, -self.draught / 5.0)
        self.warm += (power * self.reach - (self.warm - room)) / self.tau_min
        self._breathe(minute)

    def _open_doors(self, minute: int) -> None:
        """About three times a day each, for two to six minutes, by day."""
        if 8 <= minute % DAY_MIN // 60 < 22:
            opened = self._rng.random(ENCLOSURES) < 3.0 / (14 * 60)
            self.door_until[opened] = minute + self._rng.integers(2, 7)

    def _breathe(self, minute: int) -> None:
        dry, damp = self._mask("too dry"), self._mask("too damp")
        target = np.where(dry, 30.0, np.where(damp, 97.0, 62.0))
        self.humidity += (target - self.humidity) * np.where(dry | damp, 1.0 / 60.0, 1.0 / 180.0)
        if minute % DAY_MIN == 9 * 60:
            misted = self._rng.random(ENCLOSURES) < 0.5
            self.humidity[misted] = np.minimum(78.0, self.humidity[misted] + 12.0)

    def going_on(self, name: str) -> bool:
        """True while a fault of that name is on somewhere."""
        return any(fault.name == name for fault in self._active)

    def _mask(self, name: str) -> NDArray[np.bool_]:
        found = np.zeros(ENCLOSURES, dtype=bool)
        for fault in self._active:
            if fault.name == name:
                found[slice(None) if fault.enclosure == ALL else fault.enclosure] = True
        return found

    def readings(self, minute: int) -> list[Reading]:
        """What the collector decodes and flags in this minute."""
        if self.going_on("collector dead"):
            return []
        line, broker = not self.going_on("line away"), not self.going_on("broker away")
        found = list(self._on_line(minute)) if line else []
        for one in range(ENCLOSURES):
            if line if one < ON_THE_LINE else broker:
                found += self._enclosure(minute, one)
        return [self._flagged(reading) for reading in found]

    def _on_line(self, minute: int) -> Iterator[Reading]:
        at_ms = self.start_ms + minute * MINUTE_MS
        yield _celsius("room", at_ms, self.room_c(minute))

    def _enclosure(self, minute: int, one: int) -> Iterator[Reading]:
        at_ms, room = self.start_ms + minute * MINUTE_MS, self.room_c(minute)
        noise = self._rng.normal(0.0, 0.05, 3)
        warm = self.warm[one] + self.draught[one] + noise[0]
        if not self._mask("probe unplugged")[one]:
            yield _celsius(f"warm-{one}", at_ms, self._warm_probe(one, warm))
        if one < TWO_PROBES:
            apart = 4.0 if self._mask("probes disagree")[one] else self.beside[one]
            yield _celsius(f"warm-{one}-b", at_ms, warm + apart + noise[2])
        cool = room + 0.45 * (self.warm[one] - room)
        cool += 9.0 if self._mask("cool side heated")[one] else 0.0
        yield _celsius(f"cool-{one}", at_ms, cool + noise[1])
        if minute % 5 == 0:
            yield Reading(f"air-{one}", Quantity.HUMIDITY, at_ms, round(self.humidity[one], 1))

    def _warm_probe(self, one: int, warm: float) -> float:
        """What the probe says: the truth, the power-on value, or what it stopped at."""
        if self._mask("probe doubted")[one]:
            return 85.0
        if not self._mask("probe stuck")[one]:
            self.stuck_at.pop(one, None)
            return warm
        return self.stuck_at.setdefault(one, warm)

    def _flagged(self, reading: Reading) -> Reading:
        flags = self.judge.flags(reading)
        return replace(reading, flags=flags) if flags else reading


def _celsius(probe: str, at_ms: int, value: float) -> Reading:
    return Reading(probe, Quantity.TEMPERATURE, at_ms, round(value * 16) / 16)


def meals(days: int, seed: int) -> Iterator[tuple[int, int]]:
    """(enclosure, minute) of meals: each animal every nine to eleven days, in the evening."""
    rng = random.Random(seed + 1)
    for one in range(ENCLOSURES):
        day = rng.randrange(1, 10)
        while day < days:
            yield one, day * DAY_MIN + 20 * 60
            day += rng.randrange(9, 12)
