"""How a zone has been over the last day: its mean of every whole minute. Light, and bounded.

Looks at a fall are made from these, so that what a look finds does not depend on when, or how
often, the readings were read.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, field

from analysis.watch.states import HOUR_MS, MINUTE_MS

HISTORY_MS = 26 * HOUR_MS
"""A whole day and a little: each hour of the day was seen once."""


@dataclass(slots=True)
class Minutes:
    """The means of whole minutes, by the minute's middle. `upto_ms`: of readings up to then."""

    upto_ms: int
    at_ms: array[int] = field(default_factory=lambda: array("q"))
    mean_c: array[float] = field(default_factory=lambda: array("d"))
    _minute: int = -1
    _sum: float = 0.0
    _count: int = 0

    @classmethod
    def since(cls, from_ms: int) -> Minutes:
        """An empty history that begins with the whole minute at or before `from_ms`."""
        return cls(from_ms // MINUTE_MS * MINUTE_MS - 1)

    def add(self, points: Iterable[tuple[int, float]]) -> None:
        """Take more points, in time order; those of before `upto_ms` are known already."""
        for at_ms, value_c in points:
            if at_ms <= self.upto_ms:
                continue
            self.upto_ms = at_ms
            minute = at_ms // MINUTE_MS
            if minute != self._minute:
                self._close()
                self._minute = minute
            self._sum += value_c
            self._count += 1

    def forget_before(self, at_ms: int) -> None:
        """Let go of what is older."""
        gone = bisect_left(self.at_ms, at_ms)
        if gone >= 60:  # seldom: it copies
            del self.at_ms[:gone]
            del self.mean_c[:gone]

    def window(self, start_ms: int, end_ms: int) -> tuple[array[int], array[float]]:
        """The minutes that lie wholly in [start_ms, end_ms)."""
        start = bisect_left(self.at_ms, start_ms + MINUTE_MS // 2)
        end = bisect_left(self.at_ms, end_ms // MINUTE_MS * MINUTE_MS)
        return self.at_ms[start:end], self.mean_c[start:end]

    def _close(self) -> None:
        if self._count:
            self.at_ms.append(self._minute * MINUTE_MS + MINUTE_MS // 2)
            self.mean_c.append(self._sum / self._count)
        self._sum, self._count = 0.0, 0
