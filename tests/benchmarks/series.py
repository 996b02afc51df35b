"""Long series made quickly, for the benchmarks."""

from __future__ import annotations

from array import array

import numpy as np

from collector.store.columns import DAY_MS, Columns


def wandering(
    days: int, *, seed: int, start_ms: int, every_ms: int, level: float = 31.0
) -> Columns:
    """A thermostat's swing, days that differ, noise, on a grid of 1/16; times 100 ms about."""
    rng = np.random.default_rng(seed)
    each = DAY_MS // every_ms
    count = days * each
    at_ms = start_ms + np.arange(count) * every_ms + rng.integers(0, 100, count)
    minutes = (at_ms - start_ms) / 60_000
    daily = np.repeat(rng.normal(0, 1.5, days), each)
    value = level + 0.6 * np.sin(minutes / 25) + daily + rng.normal(0, 0.05, count)
    return Columns(
        array("q", at_ms.astype(np.int64).tobytes()),
        array("d", (np.round(value * 16) / 16).tobytes()),
        bytearray(count),
        [],
    )
