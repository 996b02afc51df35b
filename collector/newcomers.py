"""Series never heard of before: a few thousand at once, then one every half minute.

A room has some dozens, a large collection a few thousand. What names a new probe in every message
would fill store and memory with names; so beyond the bound its readings are dropped and counted.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable

from collector.readings import SeriesKey

AT_ONCE = 5_000
"""Our own choice: more than a thousand enclosures of four probes each have, a megabyte of names."""
ANOTHER_EVERY_S = 30.0
"""So a real probe that is new while, or after, somebody was mad need not wait for a restart."""


class Newcomers:
    """Knows all series there are, and lets a bounded number of others become known."""

    def __init__(
        self, known: Iterable[SeriesKey] = (), monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._known = set(known)
        self._monotonic = monotonic
        self._places = float(AT_ONCE)
        self._counted_s = monotonic()

    def admits(self, key: SeriesKey) -> bool:
        """True for a series that is known, from now on perhaps."""
        if key in self._known:
            return True
        now_s = self._monotonic()
        more = (now_s - self._counted_s) / ANOTHER_EVERY_S
        self._places, self._counted_s = min(float(AT_ONCE), self._places + more), now_s
        if self._places < 1.0:
            return False
        self._places -= 1.0
        self._known.add(key)
        return True
