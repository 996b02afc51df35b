"""Starts the delivery, a process of its own, when something waits: never two at a time.

The delivery has a time limit of its own; should it outlive even that, it is killed from here.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import time
from collections.abc import Callable, Collection
from pathlib import Path

from analysis.watch.alarm_store import AlarmStore

TIME_LIMIT_SECONDS = 150.0
_MOST_PAUSE_SECONDS = 900.0
_LOG = logging.getLogger(__name__)


class Courier:
    """Watches over the delivery of one home. `tick` it once a cycle."""

    def __init__(
        self,
        folder: Path,
        store: AlarmStore,
        addresses: Collection[str],
        *,
        every_seconds: float,
        monotonic: Callable[[], float] = time.monotonic,
        limit_seconds: float = TIME_LIMIT_SECONDS,
    ) -> None:
        self._command = [sys.executable, "-m", "analysis.watch.deliver", "--home", str(folder)]
        self._store = store
        self._addresses = addresses
        self._every_s = every_seconds
        self._monotonic = monotonic
        self._limit_s = limit_seconds
        self._process: subprocess.Popen[bytes] | None = None
        self._started_s = 0.0
        self._not_before_s = 0.0
        self._failures = 0
        self._checked = False

    def tick(self, now_ms: int) -> None:
        """Start a delivery when one is due and none runs. The first also checks the addresses."""
        if self._running() or not self._addresses or self._monotonic() < self._not_before_s:
            return
        if not self._checked:
            self._start("--check")
            self._checked = True
        elif self._store.something_due(self._addresses, now_ms):
            self._start()

    def close(self, wait_seconds: float = 2.0) -> None:
        """Ask a running delivery to end after the message it is at, and wait for a moment.

        One that does not end is left to its own time limit: what it has in hand may arrive.
        """
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(wait_seconds)
        except subprocess.TimeoutExpired:
            _LOG.warning("a delivery is still under way; it ends by itself")

    def _start(self, *options: str) -> None:
        self._process = subprocess.Popen(  # noqa: S603  # our own module, by name
            [*self._command, *options], stdin=subprocess.DEVNULL
        )
        self._started_s = self._monotonic()

    def _running(self) -> bool:
        if self._process is None:
            return False
        code = self._process.poll()
        if code is None:
            if self._monotonic() - self._started_s <= self._limit_s:
                return True
            self._process.kill()
            code = self._process.wait()
        self._process = None
        self._ended(code)
        return False

    def _ended(self, code: int) -> None:
        if code == 0:
            self._failures = 0
            return
        self._failures += 1
        pause_s = min(self._every_s * 2.0 ** min(self._failures, 16), _MOST_PAUSE_SECONDS)
        self._not_before_s = self._monotonic() + pause_s
        _LOG.error("the delivery ended with code %d; tried again in %.0f s", code, pause_s)
