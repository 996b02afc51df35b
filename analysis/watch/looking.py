"""Looks at a warm side: does it fall, since when, and when will it pass the floor? Pure.

That it falls at all is told here, simply and early, as several enclosures are held beside each
other by it. When it passes the floor is told by a `Foreteller`, which says nothing where its fit
is not good enough.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from statistics import fmean
from typing import Protocol

from analysis.watch.histories import HISTORY_MS, Minutes
from analysis.watch.rule_figures import LOOK_MS
from analysis.watch.rules_falling import Look
from analysis.watch.states import HOUR_MS, MINUTE_MS

_FALL_MS = 6 * HOUR_MS
_FROM_TOP_K = 0.5
_UNDER_USUAL_K = 0.3
_NOISE_K = 0.1
_USUAL_SHARE = 0.05
_USUAL_LEAST_MS = 6 * HOUR_MS
_UNKNOWN_USUAL_K = 2.5
_STEADY_MS = 15 * MINUTE_MS


class Foreteller(Protocol):
    """When a falling warm side passes `floor_c`, in UTC ms; None where that cannot be said.

    `at_ms` and `warm_c`: means of minutes, the newest last; `room_c`: the room at the same times,
    None where there is no room probe; `usual_c`: how low it usually goes, None where not known.
    """

    def __call__(
        self,
        at_ms: Sequence[int],
        warm_c: Sequence[float],
        *,
        room_c: Sequence[float] | None,
        floor_c: float,
        usual_c: float | None,
    ) -> int | None: ...


def look_times(points: Sequence[tuple[int, float]], seen_ms: int) -> Iterator[int]:
    """The times of the first reading in each stretch of two minutes; all that is looked at."""
    before = seen_ms // LOOK_MS
    for at_ms, _ in points:
        if at_ms // LOOK_MS > before:
            before = at_ms // LOOK_MS
            yield at_ms


def look(
    warm: Minutes, room: Minutes | None, at_ms: int, floor_c: float, foretell: Foreteller
) -> Look | None:
    """One look; None while there is no whole minute of late."""
    times, means = warm.window(at_ms - _FALL_MS, at_ms)
    if not times or at_ms - times[-1] > _STEADY_MS:
        return None
    now_c = means[-1]
    if max(means) - now_c < _FROM_TOP_K:
        return Look(at_ms, now_c)
    usual_c = _usual_c(warm, at_ms)
    began_ms = fall_began(times, means, usual_c)
    if began_ms is None:
        return Look(at_ms, now_c)
    room_c = room_at(room, times) if room is not None else None
    floor_ms = foretell(times, means, room_c=room_c, floor_c=floor_c, usual_c=usual_c)
    return Look(at_ms, now_c, began_ms, floor_ms)


def fall_began(at_ms: Sequence[int], mean_c: Sequence[float], usual_c: float | None) -> int | None:
    """When the fall that goes on at the newest minute began; None when there is none.

    A fall: below its top by half a degree, below what is usual there, and no minute of it lower
    than the newest by more than the noise.
    """
    top_i = _top(mean_c)
    top_c, now_c = mean_c[top_i], fmean(mean_c[-2:])
    least_c = top_c - _UNKNOWN_USUAL_K if usual_c is None else usual_c - _UNDER_USUAL_K
    falls = top_c - now_c >= _FROM_TOP_K and now_c < least_c
    if not falls or now_c > min(mean_c[top_i:]) + _NOISE_K or _steady(at_ms, mean_c):
        return None
    high = [i for i in range(top_i, len(mean_c)) if mean_c[i] > top_c - _FROM_TOP_K]
    return at_ms[high[-1]]


def _top(mean_c: Sequence[float]) -> int:
    """Where the fall began: back to where it was clearly lower than later."""
    top = len(mean_c) - 1
    for i in range(len(mean_c) - 1, -1, -1):
        if mean_c[i] >= mean_c[top]:
            top = i
        elif mean_c[i] < mean_c[top] - _FROM_TOP_K:
            break
    return top


def _steady(at_ms: Sequence[int], mean_c: Sequence[float]) -> bool:
    """True when it has stopped falling: the last quarter of an hour is level."""
    first = bisect_left(at_ms, at_ms[-1] - _STEADY_MS)
    if len(mean_c) - first < 4:
        return False
    middle = (first + len(mean_c)) // 2
    return fmean(mean_c[first:middle]) - fmean(mean_c[middle:]) < _NOISE_K / 2


def _usual_c(warm: Minutes, at_ms: int) -> float | None:
    """How low it usually goes: a twentieth of the last day's minutes lie lower."""
    times, means = warm.window(at_ms - HISTORY_MS, at_ms)
    if not times or times[-1] - times[0] < _USUAL_LEAST_MS:
        return None
    return sorted(means)[int(_USUAL_SHARE * (len(means) - 1))]


def room_at(room: Minutes, times: array[int]) -> list[float] | None:
    """The room at each of these minutes; None when it is not known throughout."""
    found: list[float] = []
    for at_ms in times:
        index = bisect_left(room.at_ms, at_ms + 1) - 1
        if index < 0 or at_ms - room.at_ms[index] > _STEADY_MS:
            return None
        found.append(room.mean_c[index])
    return found
