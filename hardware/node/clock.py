"""The time since the start, which never steps; and, once it is known, the time of day."""

import time


class Clock:
    """Milliseconds since the start. Asked at least once in six days it never wraps."""

    def __init__(self) -> None:
        self._ticks: int = time.ticks_ms()  # type: ignore[attr-defined]  # MicroPython's
        self._now_ms = 0
        self._start_ms: int | None = None

    def now_ms(self) -> int:
        """Milliseconds since the start."""
        ticks = time.ticks_ms()  # type: ignore[attr-defined]
        self._now_ms += time.ticks_diff(ticks, self._ticks)  # type: ignore[attr-defined]
        self._ticks = ticks
        return self._now_ms

    def set(self, unix_ms: int, at_ms: int) -> None:
        """It was `unix_ms` (UTC) at `at_ms` of this clock."""
        self._start_ms = unix_ms - at_ms

    @property
    def is_set(self) -> bool:
        """True once the time of day is known."""
        return self._start_ms is not None

    def unix_ms(self, at_ms: int) -> int | None:
        """UTC at `at_ms` of this clock, before or after it was set; None while it is not."""
        return None if self._start_ms is None else self._start_ms + at_ms
