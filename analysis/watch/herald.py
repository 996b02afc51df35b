"""Hands the enclosures' states to a publisher, a process of its own, and never waits for it."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

_FIRST_PAUSE_SECONDS = 10.0
_MOST_PAUSE_SECONDS = 900.0
_END_SECONDS = 3.0
_LOG = logging.getLogger(__name__)


class Herald:
    """One publisher at a time. A line that it cannot take at once is dropped: the next says more.

    `tell` returns False when nothing was handed over, so that it is all said again later.
    """

    def __init__(self, folder: Path, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._command = [sys.executable, "-m", "analysis.watch.publish", "--home", str(folder)]
        self._monotonic = monotonic
        self._process: subprocess.Popen[bytes] | None = None
        self._not_before_s = -1e18
        self._failures = 0

    def tell(self, states: Sequence[tuple[str, dict[str, Any]]]) -> bool:
        """Hand states over; False when the publisher was not there or could not take them all."""
        if not states:
            return True
        if not self._running() and not self._start():
            return False
        process = self._process
        if process is None or process.stdin is None:
            return False
        lines = "".join(json.dumps(pair, ensure_ascii=False) + "\n" for pair in states).encode()
        try:
            taken = os.write(process.stdin.fileno(), lines)
        except (BlockingIOError, BrokenPipeError):
            taken = 0
        if taken == len(lines):
            return True
        # Half a line is in the pipe: only a new publisher reads from a beginning.
        self._end(0.0)
        return False

    def close(self) -> None:
        """Let it send what it has, for a moment."""
        self._end(_END_SECONDS)

    def _running(self) -> bool:
        if self._process is None:
            return False
        code = self._process.poll()
        if code is None:
            return True
        self._end(0.0)
        self._failures += 1
        pause_s = min(_FIRST_PAUSE_SECONDS * 2.0 ** min(self._failures, 10), _MOST_PAUSE_SECONDS)
        self._not_before_s = self._monotonic() + pause_s
        _LOG.warning("the publisher ended with code %d; begun again in %.0f s", code, pause_s)
        return False

    def _start(self) -> bool:
        if self._monotonic() < self._not_before_s:
            return False
        self._process = subprocess.Popen(  # noqa: S603  # our own module, by name
            self._command, stdin=subprocess.PIPE, bufsize=0
        )
        if self._process.stdin is not None:
            os.set_blocking(self._process.stdin.fileno(), False)
        return True

    def _end(self, wait_seconds: float) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin is not None:
            process.stdin.close()
        try:
            process.wait(wait_seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
