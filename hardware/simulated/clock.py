"""The time that simulated sensors live in."""


class Clock:
    """A clock that stands still until it is told, or slept on: for tests without waiting."""

    def __init__(self) -> None:
        self._now_ms = 0

    def now_ms(self) -> int:
        """Milliseconds since some moment."""
        return self._now_ms

    def sleep_ms(self, duration_ms: int) -> None:
        """Let time go by."""
        self._now_ms += duration_ms
