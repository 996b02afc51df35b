"""Invented series for the store's tests: by hypothesis, and realistic ones."""

from __future__ import annotations

import math
import random
from array import array

from hypothesis import strategies as st

from collector.readings import AS_READ, Correction, Flag, Quantity, Reading, SeriesKey
from collector.store.columns import DAY_MS, Columns

WARM = SeriesKey("urn:dev:ow:28ff641f43b2c1d0", Quantity.TEMPERATURE)
COOL = SeriesKey("urn:dev:ow:28ff641f43b2c1d1", Quantity.TEMPERATURE)
DAMP = SeriesKey("urn:dev:mac:0024beffff804ff1", Quantity.HUMIDITY)
KEYS = (WARM, COOL, DAMP)

DAY_0_MS = 20_000 * DAY_MS
"""Midnight, UTC, 4 October 2024."""

finite = st.floats(allow_nan=False, allow_infinity=False)
int64 = st.integers(-(2**63), 2**63 - 1)
few_days = st.integers(DAY_0_MS, DAY_0_MS + 3 * DAY_MS)

on_a_grid = st.sampled_from([1, 10, 16, 100, 128, 1000]).flatmap(
    lambda scale: st.integers(-200 * scale, 200 * scale).map(lambda n: n / scale)
)
# A thermometer that thinks in tenths of a degree Fahrenheit.
fahrenheit = st.integers(700, 990).map(lambda tenths: (tenths / 10 - 32) / 1.8)
values = st.one_of(finite, on_a_grid, fahrenheit)

corrections = st.one_of(
    st.just(AS_READ), st.builds(Correction, st.floats(0.5, 2), st.floats(-5, 5))
)
flags = st.one_of(st.just(0), st.integers(0, sum(Flag)))


@st.composite
def columns(draw: st.DrawFn, times: st.SearchStrategy[int] = int64) -> Columns:
    """Any columns with at least one reading."""
    at_ms = sorted(draw(st.sets(times, min_size=1, max_size=60)))
    count = len(at_ms)
    kind = draw(
        st.sampled_from([finite, on_a_grid, fahrenheit, values, st.sampled_from([1 / 3, 7e-9])])
    )
    pool = draw(st.lists(corrections, min_size=1, max_size=3))
    by = draw(st.lists(st.sampled_from(pool), min_size=count, max_size=count))
    return Columns.ordered(
        at_ms,
        draw(st.lists(kind, min_size=count, max_size=count)),
        draw(st.lists(flags, min_size=count, max_size=count)),
        sorted(by, key=pool.index) if draw(st.booleans()) else by,
    )


@st.composite
def readings(draw: st.DrawFn, times: st.SearchStrategy[int] = few_days) -> Reading:
    """Any reading of one of three series."""
    key = draw(st.sampled_from(KEYS))
    return Reading(
        key.probe,
        key.quantity,
        draw(times),
        draw(st.one_of(on_a_grid, fahrenheit, st.floats(-1e6, 1e6))),
        draw(corrections),
        Flag(draw(flags)),
    )


def believable(
    count: int,
    *,
    start_ms: int = DAY_0_MS,
    every_ms: int = 10_000,
    jitter_ms: int = 0,
    grid: int = 16,
    noise_c: float = 0.03,
    seed: int = 1,
) -> Columns:
    """A warm side as a probe sees it: a thermostat's swing and the sensor's noise, on its grid."""
    rng = random.Random(seed)
    at_ms = array("q")
    raw = array("d")
    for i in range(count):
        at_ms.append(start_ms + i * every_ms + (rng.randrange(jitter_ms) if jitter_ms else 0))
        truth = 31 + 0.5 * math.sin(i * every_ms / 1_800_000) + rng.gauss(0, noise_c)
        raw.append(round(truth * grid) / grid)
    return Columns(at_ms, raw, bytearray(count), [])


def same_bits(one: Columns, other: Columns) -> bool:
    """Equal to the last bit: -0.0 is not 0.0."""
    return one == other and one.raw.tobytes() == other.raw.tobytes()
