"""How long to wait before trying again: longer each time, never the same for two, bounded."""

from __future__ import annotations

import random
from collections.abc import Callable


class Backoff:
    """Waits that double from `first_s` to `most_s`, each shortened by up to half at random.

    The random part keeps many nodes that lost the same broker from all coming back at once.
    """

    def __init__(
        self, first_s: float, most_s: float, chance: Callable[[], float] = random.random
    ) -> None:
        if not 0.0 < first_s <= most_s:
            raise ValueError(f"waits from {first_s} s to {most_s} s make no sense")
        self._first_s = first_s
        self._most_s = most_s
        self._chance = chance
        self._next_s = first_s

    def next_s(self) -> float:
        """The wait before the next try, in s."""
        full_s = self._next_s
        self._next_s = min(full_s * 2.0, self._most_s)
        return full_s * (1.0 - 0.5 * self._chance())

    def reset(self) -> None:
        """It worked: the next trouble starts from the shortest wait."""
        self._next_s = self._first_s
