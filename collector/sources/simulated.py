"""Make-believe probes inside the collector: to try things out without hardware."""

from __future__ import annotations

import math
import random
import threading
import time
from collections.abc import Callable, Sequence

from collector.clock import wall_clock_ms
from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.measured import Measured
from collector.readings import Quantity
from collector.senml import pack
from collector.sources.source import Source
from config.sources import Simulated

_DAY_S = 86_400.0


def simulated_value(probe: Simulated, at_s: float, chance: random.Random) -> float:
    """What `probe` shows at UTC second `at_s`: a daily swing around its mean, and some noise."""
    swing = probe.swing * math.sin(2.0 * math.pi * at_s / _DAY_S)
    return round(probe.mean + swing + chance.gauss(0.0, probe.noise), 4)


class SimulatedProbes(Source):
    """All [[simulated]] probes of the settings; each sends a SenML pack at its own pace."""

    name = "simulated"

    def __init__(
        self,
        probes: Sequence[Simulated],
        inbox: Inbox,
        counts: Counts,
        *,
        now_ms: Callable[[], int] = wall_clock_ms,
        monotonic: Callable[[], float] = time.monotonic,
        chance: random.Random | None = None,
    ) -> None:
        self._probes = probes
        self._inbox = inbox
        self._counts = counts
        self._now_ms = now_ms
        self._monotonic = monotonic
        self._chance = chance or random.Random()  # noqa: S311 — weather, not secrets

    def run(self, stop: threading.Event) -> None:
        """Send until `stop`."""
        self._counts.connection(self.name, up=True)
        due_s = [self._monotonic()] * len(self._probes)
        while not stop.is_set():
            now_s = self._monotonic()
            for i, probe in enumerate(self._probes):
                if due_s[i] <= now_s:
                    self._send(probe, now_s)
                    due_s[i] = max(due_s[i] + probe.every_seconds, now_s)
            stop.wait(max(0.0, min(due_s) - self._monotonic()))
        self._counts.connection(self.name, up=False)

    def _send(self, probe: Simulated, now_s: float) -> None:
        value = simulated_value(probe, self._now_ms() / 1000.0, self._chance)
        text = pack([Measured(probe.probe, Quantity(probe.quantity), value)])
        self._inbox.put(Frame(self.name, text.encode(), now_s))
