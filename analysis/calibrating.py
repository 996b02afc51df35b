"""A probe held against a reference: is it steady, what is its error, how sure is that. Pure, light.

Uncertainty as the "Guide to the expression of uncertainty in measurement" has it (JCGM 100:2008,
from memory): scatter as type A (4.2: s/√n); resolution, drift and the reference's limits as type
B, a rectangle of half-width a counting a/√3 (4.3.7); a certificate's expanded uncertainty divided
by its k (4.3.3); joined as the root of the sum of squares (5.1.2), and stated with k = 2 (6.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

K = 2.0
"""Coverage factor of every expanded uncertainty here: about 95 %."""
WINDOW_MS = 180_000
"""So long must a probe be steady."""
LEAST_READINGS = 10
MOST_DRIFT_C = 0.06
"""Along the fitted line over the window; about one step of a 12-bit DS18B20 (1/16 °C)."""
MOST_SCATTER_C = 0.10
"""Standard deviation about that line."""
ICE_C = 0.0
ICE_LIMITS_C = 0.05
"""How far a careful bath of crushed ice and water may be from the ice point: our judgement. The
ice point itself is 0.00 °C: shaved ice and air-saturated water (ASTM E563)."""
ICE_UNCERTAINTY_C = K * ICE_LIMITS_C / math.sqrt(3)
"""The same, expanded."""
_LEAST_STEP_C = 0.01
_SILENT_MS = 30_000
"""A probe that is read every few seconds and was not heard for so long has fallen silent."""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a probe read over the window, uncorrected: mean, drift along its line, scatter about
    it (°C), how many readings, and the step it reads in. `why_not` is None when it is steady."""

    mean_c: float
    drift_c: float
    scatter_c: float
    readings: int
    step_c: float
    why_not: str | None


@dataclass(frozen=True, slots=True)
class Point:
    """One point: what the probe read, what was true, and the expanded uncertainty (°C, k = 2)."""

    read_c: float
    true_c: float
    uncertainty_c: float


def steadiness(series: Sequence[tuple[int, float]], now_ms: int) -> Steadiness | None:
    """How steady the uncorrected readings (UTC ms, °C) of the last window are; None: too few."""
    last = [one for one in series if now_ms - WINDOW_MS <= one[0] <= now_ms]
    if len(last) < 3:
        return None
    first_ms, last_ms = last[0][0], last[-1][0]
    mean = math.fsum(value for _, value in last) / len(last)
    slope, scatter = _line(last, mean)
    drift = slope * WINDOW_MS
    every_ms = median(b - a for (a, _), (b, _) in pairwise(last))
    silent_ms = now_ms - last_ms
    why_not = None
    if silent_ms > max(_SILENT_MS, 3 * every_ms):
        why_not = (
            f"it has not been heard for {silent_ms / 1000:.0f} s: is its cable in, is the "
            "collector running?"
        )
    elif every_ms * LEAST_READINGS > WINDOW_MS:
        why_not = (
            f"it is read only every {every_ms / 1000:.0f} s, and {LEAST_READINGS} readings in "
            f"{WINDOW_MS // 60_000} min are needed: set its node to 10 s meanwhile"
        )
    elif len(last) < LEAST_READINGS or last_ms - first_ms < 0.8 * WINDOW_MS:
        why_not = f"{len(last)} readings over {(last_ms - first_ms) / 1000:.0f} s so far"
    elif scatter > MOST_SCATTER_C:
        why_not = f"its readings scatter by {scatter:.2f} °C: stir, and keep it off the wall"
    elif abs(drift) > max(MOST_DRIFT_C, 2 * scatter * math.sqrt(12 / len(last))):
        # Noise alone tilts a line of n even readings by that much over the window (two sigma).
        why_not = f"it still drifts, {drift:+.2f} °C in {WINDOW_MS // 60_000} min"
    return Steadiness(mean, drift, scatter, len(last), _step(series), why_not)


def _line(last: Sequence[tuple[int, float]], mean: float) -> tuple[float, float]:
    """Slope in °C per ms by least squares, and the standard deviation about the line."""
    middle = math.fsum(at_ms for at_ms, _ in last) / len(last)
    spread = math.fsum((at_ms - middle) ** 2 for at_ms, _ in last)
    if spread == 0.0:
        return 0.0, 0.0
    slope = math.fsum((at_ms - middle) * (value - mean) for at_ms, value in last) / spread
    rest = math.fsum((v - mean - slope * (at_ms - middle)) ** 2 for at_ms, v in last)
    return slope, math.sqrt(rest / (len(last) - 2))


def _step(series: Sequence[tuple[int, float]]) -> float:
    """The smallest step between two readings; a probe that never stirs is taken to read 1/16 °C."""
    steps = [abs(b - a) for (_, a), (_, b) in pairwise(series) if abs(b - a) > 1e-6]
    return max(min(steps), _LEAST_STEP_C) if steps else 0.0625


def point(steady: Steadiness, true_c: float, reference_uncertainty_c: float) -> Point:
    """The point with its uncertainty; the reference's is expanded with k = 2, as certificates
    have it."""
    parts = (
        steady.scatter_c / math.sqrt(steady.readings),
        steady.step_c / 2 / math.sqrt(3),
        abs(steady.drift_c) / 2 / math.sqrt(3),
        reference_uncertainty_c / K,
    )
    return Point(steady.mean_c, true_c, K * math.sqrt(math.fsum(part * part for part in parts)))


def uncertainty_at(read_c: float, first: Point, second: Point | None) -> float:
    """Expanded uncertainty (k = 2) of the correction where the probe reads `read_c`.

    Between and beyond two points the line carries each point's uncertainty with its own weight
    (JCGM 100, 5.1.2, for a straight line through both). With one point: that point's own; how the
    error changes away from it is not known.
    """
    if second is None:
        return first.uncertainty_c
    share = (read_c - first.read_c) / (second.read_c - first.read_c)
    return math.hypot((1 - share) * first.uncertainty_c, share * second.uncertainty_c)
