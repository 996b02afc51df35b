"""A job in a process of its own: for what is heavy, or slow enough to hold up an evaluation.

The process says what it has to tell as one JSON document on standard output
(`{"title": ..., "lines": [...]}`, or `{}` for nothing) and ends with 0; or says in one line on
standard error why not, and ends with another code.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from typing import IO, Any

from analysis.watch.jobs_kept import Note
from config.errors import WarmcoilError

_MOST_SAID = 16_384
_MOST_FAULT = 300
_LOG = logging.getLogger(__name__)


class Apart:
    """One process at a time, ended when it takes too long. `command` is our own module."""

    def __init__(
        self,
        topic: str,
        command: Sequence[str],
        limit_seconds: float,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._topic = topic
        self._command = [sys.executable, "-m", *command]
        self._limit_s = limit_seconds
        self._monotonic = monotonic
        self._process: subprocess.Popen[bytes] | None = None
        self._said: IO[bytes] | None = None
        self._fault: IO[bytes] | None = None
        self._started_s = 0.0
        self._due_ms = 0

    def begin(self, due_ms: int, now_ms: int) -> None:
        """Start it for the moment `due_ms`."""
        # Closed when its result is known.
        self._said = tempfile.TemporaryFile()  # noqa: SIM115
        self._fault = tempfile.TemporaryFile()  # noqa: SIM115
        self._started_s, self._due_ms = self._monotonic(), due_ms
        self._process = subprocess.Popen(  # noqa: S603  # our own module, by name
            [*self._command, "--due", str(due_ms), "--now", str(now_ms)],
            stdin=subprocess.DEVNULL,
            stdout=self._said,
            stderr=self._fault,
        )

    def result(self) -> list[Note] | None:
        """What it has to tell; None while it is at work. Raises WarmcoilError when it failed."""
        if self._process is None:
            raise WarmcoilError("it was never started")
        code = self._process.poll()
        if code is None:
            if self._monotonic() - self._started_s <= self._limit_s:
                return None
            self.close()
            raise WarmcoilError(f"it was still at work after {self._limit_s / 60:.0f} min")
        said, fault = _read(self._said), _read(self._fault)
        self._process = None
        if code != 0:
            last = fault.strip().rpartition("\n")[2] or f"it ended with code {code}"
            _LOG.error("%s: %s", self._topic, fault.strip() or last)
            raise WarmcoilError(last[:_MOST_FAULT])
        return self._notes(said)

    def close(self) -> None:
        """End it: it is begun again by the next watch."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
            for file in (self._said, self._fault):
                if file is not None:
                    file.close()

    def _notes(self, said: str) -> list[Note]:
        try:
            told: dict[str, Any] = json.loads(said or "{}")
            if not told:
                return []
            lines = tuple(str(line) for line in told["lines"])
            return [Note(self._topic, str(self._due_ms), str(told["title"]), lines)]
        except (ValueError, KeyError, TypeError) as fault:
            raise WarmcoilError(f"it said something that is no message: {said[:80]!r}") from fault


def _read(file: IO[bytes] | None) -> str:
    if file is None:
        return ""
    with file:
        file.seek(0)
        return file.read(_MOST_SAID).decode("utf-8", "replace")
