"""What probably happened to the warm side in a gap: an estimate, and never part of a verdict.

From the last reading before, the first after, the room and the time constant: without heat it can
have fallen no lower than to where full heat would just have brought it back to what was read
afterwards. Pure, and light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

_ROOM_K = 1.0
_STRENGTH_SHARE = 0.15
_UNDER_USUAL_K = 0.5
_NEAR_CURVE_K = 0.5

How = Literal["fell all the while", "fell, and was warming again", "ends as usual"]


@dataclass(frozen=True, slots=True)
class GapEstimate:
    """The lowest warm side in a gap in °C, between `at_worst_c` and `at_best_c`.

    `low_c` is None where nothing is more likely than the rest.
    """

    low_c: float | None
    at_worst_c: float
    at_best_c: float
    how: How


def gap_low(
    before_c: float,
    after_c: float,
    hours: float,
    room_c: float,
    tau_h: tuple[float, float, float],
    *,
    strength_k: float | None = None,
    usual_low_c: float | None = None,
) -> GapEstimate:
    """The lowest the warm side probably was in a gap of `hours`.

    `tau_h` is the time constant with its interval's ends; `strength_k` how far above the room the
    heater brings it in the end, where known; `usual_low_c` how low it usually goes.
    """
    tau = tau_h[0]
    fell_to_c = _without_heat(before_c, hours, room_c, tau)
    turned_c = None if strength_k is None else _turned(
        before_c, after_c, hours, room_c, tau, strength_k
    )  # fmt: skip
    best_c = min(before_c, after_c)
    worst_c = min(best_c, *_worsts(before_c, after_c, hours, room_c, tau_h, strength_k))
    if after_c < before_c and abs(after_c - fell_to_c) <= _NEAR_CURVE_K:
        return GapEstimate(best_c, worst_c, best_c, "fell all the while")
    if usual_low_c is not None and after_c < usual_low_c - _UNDER_USUAL_K:
        likely = None if turned_c is None else min(turned_c, best_c)
        return GapEstimate(likely, worst_c, best_c, "fell, and was warming again")
    return GapEstimate(best_c, worst_c, best_c, "ends as usual")


def _worsts(  # noqa: PLR0917  # the same parts in the same order as gap_low
    before_c: float,
    after_c: float,
    hours: float,
    room_c: float,
    tau_h: Sequence[float],
    strength_k: float | None,
) -> list[float]:
    rooms = (room_c - _ROOM_K, room_c + _ROOM_K)
    if strength_k is None:
        return [_without_heat(before_c, hours, r, t) for r, t in product(rooms, tau_h)]
    strengths = (strength_k * (1 - _STRENGTH_SHARE), strength_k * (1 + _STRENGTH_SHARE))
    return [
        _turned(before_c, after_c, hours, r, t, s) for r, t, s in product(rooms, tau_h, strengths)
    ]


def _without_heat(before_c: float, hours: float, room_c: float, tau_h: float) -> float:
    return room_c + (before_c - room_c) * math.exp(-hours / tau_h)


def _turned(  # noqa: PLR0917  # the same parts in the same order as gap_low
    before_c: float,
    after_c: float,
    hours: float,
    room_c: float,
    tau_h: float,
    strength_k: float,
) -> float:
    """Where a fall from `before_c` meets the full heat that ends at `after_c`, both on curves.

    With y = e^(−x/τ) at the turn x: (T1 − A) y = H + (T2 − A − H) e^(L/τ) y.
    """
    start_k, end_k = before_c - room_c, after_c - room_c
    below = start_k - (end_k - strength_k) * math.exp(hours / tau_h)
    least = math.exp(-hours / tau_h)
    share = strength_k / below if below > 0 else least
    return room_c + start_k * min(max(share, least), 1.0)
