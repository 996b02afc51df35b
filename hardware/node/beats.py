"""Who is alive, for the watchdog: it is fed only while every part of the node moves."""


class Beats:
    """Parts of the node by name, each with the longest silence (ms) that is still life."""

    def __init__(self, now_ms: int, longest_ms: dict[str, int]) -> None:
        self._longest_ms = longest_ms
        self._last_ms = dict.fromkeys(longest_ms, now_ms)

    def beat(self, name: str, now_ms: int) -> None:
        """`name` is alive."""
        self._last_ms[name] = now_ms

    def silent(self, now_ms: int) -> list[str]:
        """Parts that have been silent for too long."""
        return [
            name
            for name, longest_ms in self._longest_ms.items()
            if now_ms - self._last_ms[name] > longest_ms
        ]
