"""The time since the start, which never steps; and, once it is known, the time of day."""

import time

_DATED_MS = 1 << 40
"""A stamp over this is UTC (the year 2004 and later); below it the time since the start, which
does not get there in 34 years."""
_DOUBTED_MS = 60_000
"""A crystal is not off by so much from one hour to the next: either answer is wrong."""


class Clock:
    """Milliseconds since the start. Asked at least once in six days it never wraps."""

    def __init__(self) -> None:
        self._ticks: int = time.ticks_ms()  # type: ignore[attr-defined]  # MicroPython's
        self._now_ms = 0
        self._start_ms: int | None = None
        self._first_start_ms = 0
        self._doubted_ms: int | None = None

    def now_ms(self) -> int:
        """Milliseconds since the start."""
        ticks = time.ticks_ms()  # type: ignore[attr-defined]
        self._now_ms += time.ticks_diff(ticks, self._ticks)  # type: ignore[attr-defined]
        self._ticks = ticks
        return self._now_ms

    def set(self, unix_ms: int, at_ms: int) -> bool:
        """It was `unix_ms` (UTC) at `at_ms` of this clock.

        False where that is far from what was said before: it is believed when it is said again.
        """
        start_ms = unix_ms - at_ms
        if _far(start_ms, self._start_ms):
            if self._doubted_ms is None or _far(start_ms, self._doubted_ms):
                self._doubted_ms = start_ms
                return False
            self._first_start_ms = start_ms
        if self._start_ms is None:
            self._first_start_ms = start_ms
        self._start_ms, self._doubted_ms = start_ms, None
        return True

    @property
    def is_set(self) -> bool:
        """True once the time of day is known."""
        return self._start_ms is not None

    def stamp(self, at_ms: int) -> int:
        """What is kept beside a reading taken at `at_ms` of this clock: UTC as far as it is known.

        It stays, also when the clock is set again: a reading that is sent twice is the same one.
        """
        return at_ms if self._start_ms is None else self._start_ms + at_ms

    def unix_ms(self, stamp: int) -> int | None:
        """UTC of a stamp, also of one from before the clock was set; None while it is not."""
        if stamp >= _DATED_MS:
            return stamp
        return None if self._start_ms is None else self._first_start_ms + stamp


def _far(one_ms: int, other_ms: int | None) -> bool:
    return other_ms is not None and abs(one_ms - other_ms) > _DOUBTED_MS
