"""A probe that says the same for hours while others move: not measuring any more.

Constant state per series, so it finds a little less than all: others are known to have moved
when their highest and lowest since the last such finding lie far enough apart.
"""

from __future__ import annotations

from dataclasses import dataclass

from collector.readings import SeriesKey

HOUR_MS = 3_600_000
LONGEST_SILENCE_MS = HOUR_MS
"""After a longer one the hours count anew: nobody saw that the value stayed the same."""


@dataclass(slots=True)
class _Watched:
    raw: float
    since_ms: int  # of this same raw value
    seen_ms: int
    low: float
    low_ms: int
    high: float
    high_ms: int
    moved_ms: int | None = None  # it has moved far enough between then and now
    stuck: bool = False


class StuckProbes:
    """Follows the good readings of one quantity, in time order within each series."""

    def __init__(self, stuck_hours: float, others_moved: float, most_series: int) -> None:
        self._stuck_ms = stuck_hours * HOUR_MS
        self._others_moved = others_moved
        self._most = most_series
        self._watched: dict[SeriesKey, _Watched] = {}

    def see(self, key: SeriesKey, at_ms: int, raw: float) -> bool:
        """True when this reading's probe is stuck; it stays so until the value changes."""
        one = self._watched.pop(key, None)
        if one is None:
            one = _Watched(raw, at_ms, at_ms, raw, at_ms, raw, at_ms)
        self._watched[key] = one
        if len(self._watched) > self._most:
            del self._watched[next(iter(self._watched))]
        self._follow_value(one, at_ms, raw)
        self._follow_movement(one, at_ms, raw)
        if not one.stuck and at_ms - one.since_ms >= self._stuck_ms:
            one.stuck = self._others_moved_since(one.since_ms, key.probe)
        return one.stuck

    def remember(self, key: SeriesKey, at_ms: int, raw: float) -> None:
        """This series was stuck at `raw` when the collector last ran."""
        self.see(key, at_ms, raw)
        self._watched[key].stuck = True

    @staticmethod
    def _follow_value(one: _Watched, at_ms: int, raw: float) -> None:
        silent = not one.stuck and at_ms - one.seen_ms > LONGEST_SILENCE_MS
        if raw != one.raw or silent:
            one.raw, one.since_ms, one.stuck = raw, at_ms, False
        one.seen_ms = at_ms

    def _follow_movement(self, one: _Watched, at_ms: int, raw: float) -> None:
        if raw <= one.low:
            one.low, one.low_ms = raw, at_ms
        if raw >= one.high:
            one.high, one.high_ms = raw, at_ms
        if one.high - one.low >= self._others_moved:
            one.moved_ms = min(one.low_ms, one.high_ms)
            one.low = one.high = raw
            one.low_ms = one.high_ms = at_ms

    def _others_moved_since(self, since_ms: int, probe: str) -> bool:
        return any(
            other.moved_ms is not None and other.moved_ms >= since_ms
            for key, other in self._watched.items()
            if key.probe != probe
        )
