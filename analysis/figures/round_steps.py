"""Round numbers for an axis that begins at nothing. Pure, and light."""

from __future__ import annotations

import math


def round_steps(highest: float, most: int = 5) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten from 0 up to `highest`: at most `most`
    (3 or more) of them, and 0.

    Raises ValueError where `highest` is not above 0.
    """
    size = 10.0 ** math.floor(math.log10(highest / most))
    step = next(size * times for times in (1, 2, 5, 10) if highest <= size * times * most)
    return [step * n for n in range(math.floor(highest / step) + 1)]
