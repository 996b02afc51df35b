"""Finding the fall that is under way at the end of a series, and thinning it. Pure, and light."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median

from analysis.cooling_limits import DEFAULT, Limits, Silence

HOUR_MS = 3_600_000.0
MINUTE_MS = 60_000
_HOLE_STEPS = 3
_USUAL_SHARE = 0.05

RoomC = float | Sequence[float] | Callable[[int], float] | None
"""The room in °C: one value, one for each reading, a function of the time in ms; None: unknown."""


@dataclass(frozen=True, slots=True)
class Fall:
    """A fall: hours since its first point, the warm side and the room in °C at each point."""

    start_ms: float
    hours: tuple[float, ...]
    warm_c: tuple[float, ...]
    room_c: tuple[float, ...] | None

    @property
    def span_h(self) -> float:
        """How long it has been going on, in h."""
        return self.hours[-1] - self.hours[0]

    def newest(self, share: float) -> Fall:
        """The newest part of its points."""
        first = len(self.hours) - math.ceil(share * len(self.hours))
        room_c = None if self.room_c is None else self.room_c[first:]
        return Fall(self.start_ms, self.hours[first:], self.warm_c[first:], room_c)


@dataclass(frozen=True, slots=True)
class _Block:
    """The mean over one stretch, and the index of its first reading."""

    first: int
    at_ms: float
    mean_c: float


def usual_low_c(warm_c: Sequence[float]) -> float | None:
    """How low the warm side usually goes, in °C: a twentieth of the readings lie lower.

    Meant for the last two days. Not the lowest: one failure a day ago must not hide the next.
    """
    if not warm_c:
        return None
    return sorted(warm_c)[math.floor(_USUAL_SHARE * (len(warm_c) - 1))]


def find_fall(
    at_ms: Sequence[int],
    warm_c: Sequence[float],
    room_c: RoomC,
    *,
    usual_c: float | None = None,
    limits: Limits = DEFAULT,
) -> Fall | Silence:
    """The fall under way at the newest reading, or why there is none to speak of."""
    blocks = _blocks(at_ms, warm_c, limits)
    if len(blocks) < 3:
        return Silence.SHORT
    top = _top(blocks, limits)
    newest_c, top_c = blocks[-1].mean_c, blocks[top].mean_c
    lowest_c = min(block.mean_c for block in blocks[top:])
    if newest_c > lowest_c + limits.noise_c or top_c - newest_c <= limits.from_top_k:
        return Silence.NOT_FALLING
    if usual_c is None:
        usual_c = _usual_before(blocks[: top + 1], limits)
    least_c = top_c - limits.least_unknown_k if usual_c is None else usual_c - limits.under_usual_k
    if max(newest_c, _before(blocks, limits.under_ms)) >= least_c:
        return Silence.USUAL
    under = max(i for i in range(top, len(blocks)) if blocks[i].mean_c > top_c - limits.from_top_k)
    first = blocks[under + 1].first
    return _thinned(at_ms[first:], warm_c[first:], _room_of(room_c, at_ms, first), limits)


def _blocks(at_ms: Sequence[int], warm_c: Sequence[float], limits: Limits) -> list[_Block]:
    """Means, oldest first, as far back as there is no gap; laid out from the newest reading."""
    if not at_ms:
        return []
    blocks: list[_Block] = []
    end = len(at_ms)
    while end > 0:
        from_ms = at_ms[end - 1] - limits.block_ms
        first = end - 1
        while first > 0 and at_ms[first - 1] > from_ms:
            first -= 1
        blocks.append(_Block(first, fmean(at_ms[first:end]), fmean(warm_c[first:end])))
        if first > 0 and at_ms[first] - at_ms[first - 1] > limits.gap_ms:
            break
        end = first
    blocks.reverse()
    return blocks


def _top(blocks: Sequence[_Block], limits: Limits) -> int:
    """Where the fall began: back to where it was clearly lower than later."""
    top = len(blocks) - 1
    for i in range(len(blocks) - 1, -1, -1):
        if blocks[i].mean_c >= blocks[top].mean_c:
            top = i
        elif blocks[i].mean_c < blocks[top].mean_c - limits.from_top_k:
            break
        if blocks[-1].at_ms - blocks[i].at_ms > limits.most_hours * HOUR_MS:
            break
    return top


def _before(blocks: Sequence[_Block], back_ms: int) -> float:
    """The mean of the newest block that is older than that."""
    end_ms = blocks[-1].at_ms - back_ms
    return next((b.mean_c for b in reversed(blocks) if b.at_ms <= end_ms), math.inf)


def _usual_before(blocks: Sequence[_Block], limits: Limits) -> float | None:
    if blocks[-1].at_ms - blocks[0].at_ms < limits.least_history_ms:
        return None
    return usual_low_c([block.mean_c for block in blocks])


def _room_of(room_c: RoomC, at_ms: Sequence[int], first: int) -> list[float] | None:
    if room_c is None:
        return None
    if callable(room_c):
        return [room_c(at) for at in at_ms[first:]]
    if isinstance(room_c, Sequence):
        return list(room_c[first:])
    return [room_c] * (len(at_ms) - first)


def _unbroken_ms(at_ms: Sequence[int]) -> int:
    """How long readings have come one after another: with the power, the heat may be back."""
    steps = [b - a for a, b in pairwise(at_ms)]
    hole_ms = max(_HOLE_STEPS * median(steps), MINUTE_MS) if steps else 0
    last = max((i for i, step in enumerate(steps) if step > hole_ms), default=-1)
    return at_ms[-1] - at_ms[last + 1]


def _thinned(
    at_ms: Sequence[int], warm_c: Sequence[float], room_c: Sequence[float] | None, limits: Limits
) -> Fall | Silence:
    """At most `most_points` points: means over equal times, and the newest reading as it is."""
    count, span_ms = len(at_ms), at_ms[-1] - at_ms[0]
    if count < limits.least_points or _unbroken_ms(at_ms) < limits.least_hours * HOUR_MS:
        return Silence.SHORT
    if count <= limits.most_points:
        edges = list(range(count + 1))
    else:
        width_ms = span_ms / (limits.most_points - 1)
        edges = [0]
        edges += [
            i
            for i in range(1, count - 1)
            if (at_ms[i] - at_ms[0]) // width_ms > (at_ms[i - 1] - at_ms[0]) // width_ms
        ]
        edges += [count - 1, count]  # fmt: skip
    cuts = [slice(a, b) for a, b in pairwise(edges)]
    middle_ms = [fmean(at_ms[cut]) for cut in cuts]
    return Fall(
        start_ms=middle_ms[0],
        hours=tuple((at - middle_ms[0]) / HOUR_MS for at in middle_ms),
        warm_c=tuple(fmean(warm_c[cut]) for cut in cuts),
        room_c=None if room_c is None else tuple(fmean(room_c[cut]) for cut in cuts),
    )
