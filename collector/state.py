"""What the collector counts, as a file for the other processes: `collector.json` in the home.

    {"at": RFC 3339, "pid": 1234, "store": "written" | the fault, "uncommitted": n, "held": n,
     "sources": {"serial /dev/...": {"frames": n, "readings": n, "dropped": {reason: n},
                                      "connected": true, "since": RFC 3339 | null}}}

Counters are since the collector started. `since` belongs to `connected`. The file is replaced
whole, so that a reader never sees half of it, and only when something changed: `at` is the time
of the last change, not a sign of life.
"""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import Callable
from pathlib import Path

from collector.counts import Counts
from collector.pipeline import Pipeline
from collector.rfc3339 import written

log = logging.getLogger("collector")

WRITE_EVERY_S = 60.0


class StateFile:
    """Writes the state at most once a minute, and when told to at the end."""

    def __init__(
        self,
        path: Path,
        counts: Counts,
        pipeline: Pipeline,
        now_ms: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._path = path
        self._counts = counts
        self._pipeline = pipeline
        self._now_ms = now_ms
        self._monotonic = monotonic
        self._last: dict[str, object] = {}
        self._due_s = monotonic()
        self._failing = False

    def write_if_due(self) -> None:
        """Write what changed, if the last time was a minute ago."""
        if self._monotonic() >= self._due_s:
            self.write()

    def write(self) -> None:
        """Write now if anything changed. A disk that is full is said once; it is only a count."""
        self._due_s = self._monotonic() + WRITE_EVERY_S
        state = self._state()
        if state == self._last:
            return
        text = json.dumps({"at": written(self._now_ms()), **state}, indent=1)
        fresh = self._path.with_suffix(".new")
        try:
            fresh.write_text(text + "\n", encoding="utf-8")
            fresh.replace(self._path)
        except OSError as fault:
            if not self._failing:
                log.warning("%s cannot be written: %s", self._path, fault.strerror)
            self._failing = True
            return
        self._failing = False
        self._last = state

    def _state(self) -> dict[str, object]:
        return {
            "pid": os.getpid(),
            "store": self._pipeline.fault or "written",
            "uncommitted": self._pipeline.uncommitted,
            "held": self._pipeline.held,
            "sources": {
                source: {
                    "frames": tally.frames,
                    "readings": tally.readings,
                    "dropped": dict(sorted(tally.dropped.items())),
                    "connected": tally.connected,
                    "since": None if tally.since_ms is None else written(tally.since_ms),
                }
                for source, tally in sorted(self._counts.tallies().items())
            },
        }
