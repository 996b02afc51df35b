"""Asking the collector to commit faster for a while: a file in the home, with an end.

A reading becomes visible when it is committed, every 10 s as a rule. Who looks at readings as they
come (a probe in a hand, a calibration) asks for a commit a second: `hasten` writes the file
`haste` in the home, which says until when. The collector looks for it once a second. It believes
no end further ahead than `LONGEST_MS`, and each asking is for that long at most, so that nobody
who asks and dies costs the card more than two minutes of commits.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from collector.clock import wall_clock_ms
from config.errors import StoreFault

LONGEST_MS = 120_000
"""The longest that may be asked for at once."""
COMMIT_SECONDS = 1.0
"""The pace meanwhile."""
_LOOK_EVERY_S = 1.0


def hasten(path: Path, now_ms: int, for_ms: int = LONGEST_MS) -> None:
    """Ask for faster commits for `for_ms` from now; an end already asked for is kept if later.

    Raises StoreFault where the home cannot be written in.
    """
    until_ms = now_ms + min(for_ms, LONGEST_MS)
    known = _until(path)
    if known is not None and until_ms <= known <= now_ms + LONGEST_MS:
        return
    fresh = path.with_name(f"{path.name}.new")
    try:
        fresh.write_text(f"{until_ms}\n", encoding="ascii")
        fresh.replace(path)
    except OSError as fault:
        raise StoreFault(f"{path}: cannot be written: {fault.strerror or fault}") from fault


class Pace:
    """How long a reading may wait for its commit: the settings' time, or shorter while asked."""

    def __init__(
        self,
        usual_s: float,
        path: Path | None = None,
        *,
        now_ms: Callable[[], int] = wall_clock_ms,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.usual_s = usual_s
        self._path = path
        self._now_ms = now_ms
        self._monotonic = monotonic
        self._look_at_s = monotonic()
        self._hasty = False

    def seconds(self) -> float:
        """Seconds from a reading to its commit, as of now."""
        if self._path is not None and self._monotonic() >= self._look_at_s:
            self._look_at_s = self._monotonic() + _LOOK_EVERY_S
            until_ms = _until(self._path)
            now_ms = self._now_ms()
            self._hasty = until_ms is not None and now_ms < until_ms <= now_ms + LONGEST_MS
        return min(COMMIT_SECONDS, self.usual_s) if self._hasty else self.usual_s


def _until(path: Path) -> int | None:
    """Until when faster commits were asked for, UTC ms; None: not, or nothing that can be read."""
    try:
        text = path.read_bytes()[:32].decode("ascii").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return int(text) if text.isdecimal() else None
