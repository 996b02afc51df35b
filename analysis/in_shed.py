"""Whether an animal is in shed, by the newest entry the book has of it. Pure, and light."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.window import DAY_MS
from collector.book.records import Shed, ShedStage
from config.care import CareProfile


@dataclass(frozen=True, slots=True)
class InShed:
    """Found in shed at `since_ms`, and no skin found since.

    `ask`: that is longer ago than a shed takes, so that it may be over and nobody wrote it down.
    """

    since_ms: int
    ask: bool


def in_shed(sheds: Iterable[Shed], care: CareProfile, now_ms: int) -> InShed | None:
    """One animal's shed at a moment; None where the newest entry is a skin, or there is none.

    A skin found at the very moment of "in shed" ends it.
    """
    past = [one for one in sheds if one.at_ms <= now_ms]
    newest = max(past, key=lambda one: (one.at_ms, one.stage is ShedStage.SHED), default=None)
    if newest is None or newest.stage is ShedStage.SHED:
        return None
    longest_ms = care.next_meal.shed_days.value * DAY_MS
    return InShed(newest.at_ms, ask=now_ms - newest.at_ms > longest_ms)
