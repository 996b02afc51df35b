"""Finding the probe in a warm hand: `python -m tests.campaigns.find [--tries N]`.

Twenty-four simulated probes in eight enclosures, with noise of 0.05 to 0.1 °C in steps of 1/16 °C,
thermostats that switch, doors that are opened and shut before and meanwhile, readings every 2 to
10 s, and probes that send what they measured in bursts, with times of their own or without. One is
taken into a hand within two seconds of the beginning; in every fifth further try, none is. Prints
a JSON line for each kind of try; exit code 1 where a wrong one was named, or too many took longer
than half a minute.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field

from analysis.warm_hand import LONGEST_MS, find
from hardware.rack.enclosure import Enclosure, EnclosureBuild
from hardware.rack.faults import EnclosureState, Heater

ENCLOSURES, PROBES_EACH = 8, 3
BEFORE_S = 900
IN_TIME_S = 30
IN_TIME_SHARE = 0.98
"""Of the tries; of the rest it says that it is not sure yet. A wrong one is never allowed."""
_STEP_C = 0.0625
_VISIBLE_AFTER_S = 1.5
"""A commit a second (what is asked of the collector while a probe is sought), and to read it."""
_LOOK_EVERY_S = 2


@dataclass
class Probe:
    """A cased probe that is read now and then."""

    name: str
    draw: random.Random
    share: float
    near_heater_k: float
    every_s: float = field(init=False)
    burst_s: float = field(init=False)
    own_times: bool = field(init=False)

    def __post_init__(self) -> None:
        draw = self.draw
        self.every_s = draw.choice((2.0, 3.0, 5.0, 10.0))
        bursts = self.every_s < 10 and draw.random() < 0.3
        self.burst_s = draw.uniform(6.0, 12.0) if bursts else 0.0
        self.own_times = draw.random() < 0.7
        self.noise_c, self.offset_c = draw.uniform(0.05, 0.1), draw.uniform(-0.5, 0.5)
        self.air_tau_s, self.hand_tau_s = draw.uniform(50, 100), draw.uniform(8, 25)
        self.hand_c = draw.uniform(33.5, 35.5)
        self.period_s, self.phase = draw.uniform(240, 900), draw.random()
        self.drop_c = 0.0
        self.value_c: float | None = None
        self.next_s, self.sent_s = draw.uniform(0, self.every_s), 0.0
        self.kept: list[tuple[float, float]] = []
        self.seen: list[tuple[float, int, float]] = []  # visible from (s), at (ms), °C

    def step(self, at_s: float, air_c: float, room_c: float, *, open_: bool, held: bool) -> None:
        """One second in the air of its place, or in a hand."""
        target_c = 0.5 * (air_c - room_c) if open_ else 0.0
        self.drop_c += (target_c - self.drop_c) / (90.0 if open_ else 120.0)
        swing = abs(((at_s / self.period_s + self.phase) % 1) * 2 - 1) * 2 - 1
        here_c = air_c - self.drop_c + self.near_heater_k * swing
        around_c, tau_s = (self.hand_c, self.hand_tau_s) if held else (here_c, self.air_tau_s)
        value_c = here_c if self.value_c is None else self.value_c
        self.value_c = around_c + (value_c - around_c) * math.exp(-1.0 / tau_s)
        if at_s >= self.next_s:
            self.next_s += self.every_s * self.draw.uniform(0.95, 1.05)
            said = self.value_c + self.offset_c + self.draw.gauss(0, self.noise_c)
            self.kept.append((at_s, round(said / _STEP_C) * _STEP_C))
        if self.kept and at_s - self.sent_s >= self.burst_s:
            self._send(at_s)

    def _send(self, at_s: float) -> None:
        for number, (taken_s, value) in enumerate(self.kept):
            at_ms = round((taken_s if self.own_times else at_s) * 1000) + number
            self.seen.append((at_s + _VISIBLE_AFTER_S, at_ms, value))
        self.kept, self.sent_s = [], at_s


@dataclass(frozen=True)
class Tried:
    """What came of one try: who was in the hand, who was named, and after how many seconds."""

    held: str | None
    named: str | None
    seconds: float | None

    @property
    def in_time(self) -> bool:
        """The right one, within half a minute."""
        return (
            self.named is not None
            and self.named == self.held
            and self.seconds is not None
            and self.seconds <= IN_TIME_S
        )


class Rack:
    """Everything, in steps of a second."""

    def __init__(self, seed: int) -> None:
        self._draw = draw = random.Random(f"hand {seed}")  # simulated, not secret
        self._room_c = draw.uniform(19.0, 23.0)
        self._enclosures = []
        self.probes: list[Probe] = []
        for number in range(ENCLOSURES):
            build = EnclosureBuild(f"E{number}", hysteresis_k=draw.uniform(0.4, 1.6),
                                   warm_tau_s=draw.uniform(1_500, 8_400))  # fmt: skip
            self._enclosures.append(Enclosure(build, self._room_c))
            for share, near in ((1.0, draw.uniform(0.0, 0.4)), (0.6, 0.1), (0.0, 0.0)):
                name = f"probe {len(self.probes)}"
                self.probes.append(Probe(name, draw, share, near))
        self._doors = [list(self._door_times()) for _ in range(ENCLOSURES)]

    def _door_times(self) -> Iterator[tuple[float, float]]:
        at_s = 0.0
        while at_s < BEFORE_S + 200:
            at_s += self._draw.expovariate(1 / 900)
            until_s = at_s + self._draw.uniform(10, 120)
            yield at_s, until_s
            at_s = until_s

    def open_for(self, probe: int, at_s: float) -> None:
        """The enclosure of that probe is opened for the hand, as it mostly is."""
        if self._draw.random() < 0.6:
            self._doors[probe // PROBES_EACH].append((at_s - 2, at_s + self._draw.uniform(5, 60)))

    def step(self, at_s: float, held: int | None) -> None:
        """One second."""
        for number, enclosure in enumerate(self._enclosures):
            open_ = any(a <= at_s < b for a, b in self._doors[number])
            state = EnclosureState(
                until_ms=0, powered=True, heater=Heater.THERMOSTAT,
                door_open=open_, misting=False, drifts=(),
            )  # fmt: skip
            enclosure.step(1.0, round(at_s * 1000), self._room_c, state)
            first = number * PROBES_EACH
            for place in range(first, first + PROBES_EACH):
                probe = self.probes[place]
                air_c = enclosure.air_c(probe.share)
                probe.step(at_s, air_c, self._room_c, open_=open_, held=place == held)


def one_try(seed: int, *, nobody: bool = False) -> Tried:
    """Look every two seconds until one is named or the time is over."""
    rack = Rack(seed)
    draw = random.Random(f"who {seed}")  # simulated, not secret
    held = None if nobody else draw.randrange(len(rack.probes))
    took_s = BEFORE_S + draw.uniform(0, 2)
    if held is not None:
        rack.open_for(held, took_s)
    for second in range(BEFORE_S + LONGEST_MS // 1000 + 1):
        rack.step(float(second), held if second >= took_s else None)
        past_s = second - BEFORE_S
        if past_s > 0 and past_s % _LOOK_EVERY_S == 0:
            series = {
                one.name: sorted((at, value) for seen, at, value in one.seen if seen <= second)
                for one in rack.probes
            }
            found = find(series, BEFORE_S * 1000)
            if found.probe is not None:
                return Tried(_name(rack, held), found.probe, float(past_s))
    return Tried(_name(rack, held), None, None)


def _name(rack: Rack, held: int | None) -> str | None:
    return None if held is None else rack.probes[held].name


def summary(tried: list[Tried]) -> dict[str, object]:
    """Found in time, found later, wrong, and how long it took."""
    right = [one for one in tried if one.named is not None and one.named == one.held]
    seconds = sorted(one.seconds for one in right if one.seconds is not None)
    return {
        "tries": len(tried),
        "found": len(right),
        "found_within_30_s": sum(one.in_time for one in tried),
        "wrong": sum(one.named is not None and one.named != one.held for one in tried),
        "not_sure": sum(one.named is None for one in tried),
        "seconds_median": seconds[len(seconds) // 2] if seconds else None,
        "seconds_max": seconds[-1] if seconds else None,
    }


def main() -> int:
    """Print a line for tries with a hand and one for tries without."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.find")
    parser.add_argument("--tries", type=int, default=200)
    given = parser.parse_args()
    tried = [one_try(seed) for seed in range(given.tries)]
    held = summary(tried)
    empty = summary([one_try(seed, nobody=True) for seed in range(given.tries // 5)])
    for kind, line in (("one in a hand", held), ("none in a hand", empty)):
        sys.stdout.write(json.dumps({"tried": kind, **line}) + "\n")
    in_time = sum(one.in_time for one in tried) >= IN_TIME_SHARE * len(tried)
    return int(not in_time or held["wrong"] != 0 or empty["wrong"] != 0)


if __name__ == "__main__":
    sys.exit(main())
