"""What came, what was kept and what was dropped, by source and reason; and saying so, sparingly."""

from __future__ import annotations

import logging
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

log = logging.getLogger("collector")

_SAY_AGAIN_S = 60.0
_LONGEST_DETAIL = 300
_MOST_SUBJECTS = 256


@dataclass(slots=True)
class Tally:
    """The figures of one source since the collector started. `since_ms`: of `connected`."""

    frames: int = 0
    readings: int = 0
    dropped: Counter[str] = field(default_factory=Counter)
    connected: bool = False
    since_ms: int | None = None


class Counts:
    """The counters of all sources; safe to use from every thread.

    Reasons are few fixed words. Each (source, reason) is put in the log once a minute at most,
    with how often it happened since: ten megabytes of noise must not fill the card with
    complaints about it. Where it matters whom it is about, that is a third part of it, and
    bounded.
    """

    def __init__(
        self, now_ms: Callable[[], int], monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._now_ms = now_ms
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._tallies: dict[str, Tally] = {}
        self._said: dict[tuple[str, str, str], tuple[float, int]] = {}

    def frame(self, source: str) -> None:
        """A frame of `source` was looked at."""
        with self._lock:
            self._tally(source).frames += 1

    def kept(self, source: str, readings: int) -> None:
        """So many readings of `source` go to the store."""
        with self._lock:
            self._tally(source).readings += readings

    def drop(
        self, source: str, reason: str, detail: str = "", times: int = 1, *, about: str = ""
    ) -> None:
        """Something of `source` was dropped; `detail` says what, in one line, for the log.

        The log has a line a minute for each thing that it is `about`.
        """
        with self._lock:
            tally = self._tally(source)
            tally.dropped[reason] += times
            since = self._unsaid((source, reason, about), times)
        if since:
            often = f" ({since} times since last said)" if since > 1 else ""
            log.warning("%s: dropped: %s%s%s", source, reason, _one_line(detail), often)

    def connection(self, source: str, up: bool) -> None:
        """`source` has, or has lost, what it listens to."""
        with self._lock:
            tally = self._tally(source)
            if tally.since_ms is None or tally.connected != up:
                tally.connected, tally.since_ms = up, self._now_ms()

    def tallies(self) -> dict[str, Tally]:
        """A copy of all counters as they are now."""
        with self._lock:
            return {
                source: Tally(t.frames, t.readings, Counter(t.dropped), t.connected, t.since_ms)
                for source, t in self._tallies.items()
            }

    def _tally(self, source: str) -> Tally:
        tally = self._tallies.get(source)
        if tally is None:
            tally = self._tallies[source] = Tally()
        return tally

    def _unsaid(self, key: tuple[str, str, str], times: int) -> int:
        """How many were dropped since it was last said, if it is to be said now; else 0."""
        if key not in self._said and len(self._said) >= _MOST_SUBJECTS:
            key = (*key[:2], "")
        now_s = self._monotonic()
        said_s, unsaid = self._said.get(key, (-_SAY_AGAIN_S, 0))
        if now_s - said_s < _SAY_AGAIN_S:
            self._said[key] = (said_s, unsaid + times)
            return 0
        self._said[key] = (now_s, 0)
        return unsaid + times


def _one_line(detail: str) -> str:
    """`detail` after a colon, as it may stand in a log: topics can hold any character."""
    short = detail[:_LONGEST_DETAIL]
    return f": {''.join(c if c.isprintable() else '?' for c in short)}" if short else ""
