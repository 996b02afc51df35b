"""How far above its room an enclosure has been held, and what that says of a colder room. Pure.

What is lost to the room goes by the difference, so a difference that was held once can be held
again with the same heater, whatever the room; more than was ever asked of it is not known. Only
where the heater is seen at its most, the warm side following the room, can a "no" be said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.enclosure_track import Hours

HELD_HOURS = 24
"""What is held is a mean over a whole day: by the hour a warm side lags behind its room, and looks
as if it were held further above a room that has just become colder."""
_UNDER_USUAL_K = 0.7
_ROOM_MOVES_K = 1.0
_FOLLOWS = 0.5
_CORRELATED = 0.8
_NEAR_MOST = 0.9
_MARGIN_K = 0.5

Answer = Literal["yes", "no", "not known"]


@dataclass(frozen=True, slots=True)
class Reach:
    """How far above the room, in K: `most_k` was held over a day; `limit_k` is what the heater
    gave at its most, None where it was never seen there. `usual_k` is the middle."""

    most_k: float
    usual_k: float
    limit_k: float | None
    hours: int
    """Hours in which warm side and room were both known."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Whether `hold_c` can be held in a room of `room_c`, as far as the records show."""

    hold_c: float
    room_c: float
    need_k: float
    answer: Answer
    days: int
    """On how many days in a row or apart at least so much was held."""
    most_k: float | None
    limit_k: float | None


def reach_of(hours: Hours) -> Reach | None:
    """What the hours show; None where the difference was never held for long enough to say."""
    difference = hours.warm_c - hours.room_c
    held = [float(difference[run].mean()) for run in _runs(hours, HELD_HOURS)]
    if not held:
        return None
    most = max(held)
    limits = list(_at_its_most(hours, most))
    return Reach(
        most_k=most,
        usual_k=float(np.median(difference)),
        limit_k=max(limits) if limits else None,
        hours=len(difference),
    )


def can_hold(hours: Hours, reach: Reach | None, hold_c: float, room_c: float) -> Hold:
    """yes, no or not known: never more than the records show."""
    need = hold_c - room_c
    days = _days_held(hours, need)
    answer: Answer = "not known"
    if need <= 0 or days:
        answer = "yes"
    elif reach is not None and reach.limit_k is not None and need > reach.limit_k + _MARGIN_K:
        answer = "no"
    return Hold(
        hold_c, room_c, need, answer, days,
        reach.most_k if reach else None, reach.limit_k if reach else None,
    )  # fmt: skip


def _days_held(hours: Hours, need_k: float) -> int:
    """Days that do not overlap in which the mean difference was so much or more."""
    difference, count, free = hours.warm_c - hours.room_c, 0, 0
    for run in _runs(hours, HELD_HOURS):
        if run.start >= free and float(difference[run].mean()) >= need_k:
            count, free = count + 1, run.stop
    return count


def _runs(hours: Hours, length: int, step: int = 1) -> Iterator[slice]:
    """Every `length` hours without one missing."""
    ends = hours.hour[length - 1 :] - hours.hour[: max(0, len(hours.hour) - length + 1)]
    for first in np.flatnonzero(ends == length - 1).tolist()[::step]:
        yield slice(first, first + length)


def _at_its_most(hours: Hours, most_k: float) -> Iterator[float]:
    """The difference over each day in which the warm side was low and went with the room."""
    usual_c = float(np.median(hours.warm_c))
    for run in _runs(hours, HELD_HOURS, step=3):
        warm, room = hours.warm_c[run], hours.room_c[run]
        if warm.max() > usual_c - _UNDER_USUAL_K or np.ptp(room) < _ROOM_MOVES_K:
            continue
        slope = float(np.cov(warm, room)[0, 1] / np.var(room, ddof=1))
        together = float(np.corrcoef(warm, room)[0, 1])
        mean = float((warm - room).mean())
        if slope >= _FOLLOWS and together >= _CORRELATED and mean >= _NEAR_MOST * most_k:
            yield mean
