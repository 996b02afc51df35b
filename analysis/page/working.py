"""What takes longer than a keeper waits: worked out in a process of its own, shown when it is done.

One at a time for a home. The page never waits for it longer than a moment, and what was found
before is shown meanwhile.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analysis.all_meals import AllMeals, kept, stamp_of
from config.home import Home

if TYPE_CHECKING:
    from analysis.page.looking import Looking

log = logging.getLogger("page")

_HOUR_MS = 3_600_000
_MEALS_GO_ON_MS = 1 * _HOUR_MS
"""A meal that is being digested changes by the hour."""
_ANYWAY_MS = 24 * _HOUR_MS
"""Older than this it is worked out again whatever the stamp says."""


@dataclass
class Working:
    """The process that judges all meals, while there is one."""

    home: Home
    _process: subprocess.Popen[bytes] | None = None
    _gate: threading.Lock = field(default_factory=threading.Lock)
    failed: int | None = None
    """The exit code with which the last one ended without leaving anything."""

    def begin(self, now_ms: int, stamp: str) -> None:
        """Begin, unless one is at it already."""
        with self._gate:
            if self._at_it():
                return
            self.failed = None
            self._process = subprocess.Popen(  # noqa: S603  # our own module, by name
                [
                    sys.executable, "-m", "analysis.all_meals", "--home", str(self.home.folder),
                    "--now", str(now_ms), "--stamp", stamp,
                ],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
            )  # fmt: skip

    @property
    def at_it(self) -> bool:
        """True while it is being worked out."""
        with self._gate:
            return self._at_it()

    def wait(self, seconds: float) -> bool:
        """Wait so long at most; True when it is done. Only where a thread may wait."""
        process = self._process
        if process is not None:
            try:
                process.wait(seconds)
            except subprocess.TimeoutExpired:
                return False
        return not self.at_it

    def close(self) -> None:
        """End it: the next page begins it again."""
        with self._gate:
            if self._process is not None:
                self._process.kill()
                self._process.wait()
                self._process = None

    def _at_it(self) -> bool:
        if self._process is None:
            return False
        code = self._process.poll()
        if code is None:
            return True
        self._process = None
        if code < 0 or code > 3:  # it ended otherwise than by a fault that it has kept
            self.failed = code
            log.warning("judging all meals ended with code %d", code)
        return False


@dataclass(frozen=True, slots=True)
class Found:
    """What is known of all meals just now."""

    meals: AllMeals | None
    """None: nothing was found yet."""
    fresh: bool
    """True when nothing that matters has changed since."""
    at_it: bool
    """True while it is being worked out anew."""
    failed: int | None
    """The exit code of a process that left nothing."""


def found(home: Looking, *, patience_s: float) -> Found:
    """What is kept; where that does not hold any more, it is begun anew. Where there is nothing
    yet, so long is waited for it."""
    working = home.parts.working
    last, fresh, stamp = _last(home)
    if not fresh and working.failed is None:
        working.begin(home.now_ms, stamp)
        if last is None and working.wait(patience_s):
            last, fresh, _ = _last(home)
    return Found(last, fresh, working.at_it, working.failed)


def begin_anew(home: Looking) -> None:
    """Work it out again, whatever is kept."""
    _, _, stamp = _last(home)
    home.parts.working.begin(home.now_ms, stamp)


def _last(home: Looking) -> tuple[AllMeals | None, bool, str]:
    last = kept(home.home)
    as_of_ms = last.at_ms if last is not None else home.now_ms
    stamp = stamp_of(home.book, home.reader, home.care, home.settings, as_of_ms)
    if last is None or last.stamp != stamp or not last.whole:
        return last, False, stamp
    age_ms = home.now_ms - last.at_ms
    going_on = last.fault is not None or any(row.ended_by == "now" for row in last.rows)
    longest_ms = _MEALS_GO_ON_MS if going_on else _ANYWAY_MS
    return last, 0 <= age_ms < longest_ms, stamp
