"""Lines for property tests: steps of 1/16 °C and whole minutes, so that they touch levels, stand
still, step and break often, and so that halves of their pieces are exact in binary."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import strategies as st

from analysis.exposure import Line, line_of, mean_of
from tests.analysis.exact import Pieces

HOUR = 3_600_000
MINUTE = 60_000
T0 = 1_740_787_200_000  # 2025-03-01T00:00:00Z
GAP_MS = 15 * MINUTE

VALUES = st.integers(min_value=20 * 16, max_value=38 * 16).map(lambda n: n / 16)
"""Steps of a DS18B20 at 12 bit: 1/16 °C."""
LEVELS = st.sampled_from([22.0, 25.0, 28.0, 28.0625, 30.0, 36.0])


@st.composite
def readings(draw: st.DrawFn, most: int = 40) -> tuple[list[int], list[float]]:
    """Times in ms and values; some neighbours are further apart than GAP_MS."""
    steps = draw(st.lists(st.sampled_from([1, 2, 5, 15, 16, 40, 240]), min_size=0, max_size=most))
    start = T0 + MINUTE * draw(st.integers(0, 60))
    at_ms = [start, *(start + MINUTE * int(n) for n in np.cumsum(steps))]
    near = st.sampled_from([27.9375, 28.0, 28.0625, 24.0, 31.0])
    values = draw(st.lists(st.one_of(near, VALUES), min_size=len(at_ms), max_size=len(at_ms)))
    return at_ms, values


@st.composite
def lines(draw: st.DrawFn, most: int = 40) -> Line:
    """One probe's line, or the mean of two with their steps."""
    one = line_of(*draw(readings(most)), GAP_MS)
    if draw(st.booleans()):
        return one
    return mean_of([one, line_of(*draw(readings(most)), GAP_MS)])


def as_fractions(line: Line) -> Pieces:
    """A line for the exact reference: hours since T0."""
    return [
        (Fraction(int(s) - T0, HOUR), Fraction(int(e) - T0, HOUR), Fraction(a), Fraction(b))
        for s, e, a, b in zip(*(part.tolist() for part in line.parts), strict=True)
    ]
