"""How long an alarm takes: `python -m tests.campaigns.arrival [--alarms N]`.

From the commit of the reading that completes the on-delay to the HTTP request that brings the
message, picture and all: a real journal, the watch as a process with its usual pace, its delivery
process, and an endpoint on this machine. One enclosure after the other grows cold.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import tempfile
import threading
import time
from pathlib import Path

from collector.book.records import Animal, Enclosure, Meal, Placement, Stay, Zone
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import (
    HOUR_MS,
    MINUTE_MS,
    Stage,
    WatchProcess,
    wall_ms,
    write_care,
    write_settings,
)

ON_DELAY_S = 3.0
LIMIT_S = 20.0
_PACE_S = 10.0


class Cooling:
    """Commits every probe each second; one of them may be cold. Notes when its delay was over."""

    def __init__(self, stage: Stage, probes: list[str]) -> None:
        self._stage, self._probes = stage, probes
        self._cold: str | None = None
        self._since_ms: int | None = None
        self.complete_s: float | None = None
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def chill(self, probe: str | None) -> None:
        """From now on this one is cold, and no other."""
        with self._lock:
            self._cold, self._since_ms, self.complete_s = probe, None, None

    def close(self) -> None:
        """No more readings."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(1.0):
            with self._lock:
                self._commit(wall_ms())

    def _commit(self, at_ms: int) -> None:
        for probe in self._probes:
            self._stage.commit((at_ms, 26.0 if probe == self._cold else 31.0), probe=probe)
        if self._cold is None:
            return
        self._since_ms = at_ms if self._since_ms is None else self._since_ms
        if self.complete_s is None and at_ms - self._since_ms >= ON_DELAY_S * 1000:
            self.complete_s = time.monotonic()


def measure(folder: Path, alarms: int) -> list[float]:
    """Seconds from the commit to the request, one alarm after the other."""
    logging.disable(logging.CRITICAL)
    probes = [f"cold-{n}" for n in range(alarms)]
    since_ms = wall_ms() - 24 * HOUR_MS
    with Stage(folder / "home", since_ms) as stage, Endpoint() as endpoint:
        minutes = ON_DELAY_S / 60
        write_care(
            stage.home, on_delay=minutes, on_delay_digesting=minutes, on_delay_first=minutes,
            off_delay=minutes,
        )  # fmt: skip
        write_settings(stage.home, [endpoint.url], _PACE_S)
        for n, probe in enumerate(probes):
            stage.enter(
                Enclosure(f"E{n}"), Animal(f"A{n}"), Stay(f"A{n}", f"E{n}", since_ms),
                Placement(probe, f"E{n}", Zone.WARM_SIDE, since_ms),
                Meal(0, f"A{n}", taken_at_ms=since_ms + HOUR_MS, prey="rat"),
            )  # fmt: skip
            past = ((wall_ms() - m * MINUTE_MS, 31.0) for m in range(180, 0, -1))
            stage.commit(*past, probe=probe)
        cooling = Cooling(stage, [*probes, "warm-1"])
        try:
            with WatchProcess(stage.home):
                time.sleep(_PACE_S)
                return [_one(n, probe, cooling, endpoint) for n, probe in enumerate(probes)]
        finally:
            cooling.close()


def _one(number: int, probe: str, cooling: Cooling, endpoint: Endpoint) -> float:
    place = f"in E{number}:"
    time.sleep((number * 0.61803) % 1 * _PACE_S)  # at any moment of the watch's pace
    cooling.chill(probe)
    until_s = time.monotonic() + 120
    while time.monotonic() < until_s:
        found = [one for one in endpoint.arrivals if place in one.title and "low" in one.title]
        if found:
            complete_s = cooling.complete_s
            cooling.chill(None)
            return found[0].at_s - (complete_s if complete_s is not None else found[0].at_s)
        time.sleep(0.05)
    cooling.chill(None)
    raise AssertionError(f"no alarm {place} {[one.title for one in endpoint.arrivals]}")


def main() -> int:
    """Print one JSON line; 1 when the slowest hundredth is over the limit."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.arrival")
    parser.add_argument("--alarms", type=int, default=30)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        seconds = sorted(measure(Path(folder), given.alarms))
    worst = seconds[min(len(seconds) - 1, round(0.99 * len(seconds)))]
    figure = {
        "figure": "seconds from commit to request",
        "alarms": len(seconds),
        "median": round(seconds[len(seconds) // 2], 1),
        "p99": round(worst, 1),
        "limit": LIMIT_S,
        "watch_every_seconds": _PACE_S,
    }
    sys.stdout.write(json.dumps(figure) + "\n")
    return int(worst >= LIMIT_S)


if __name__ == "__main__":
    sys.exit(main())
