"""Judged meals that are over, kept while nothing has changed that they rest on.

One meal is set beside all others of its animal, so whoever looks at one has all judged. What is
over is judged the same again as long as the book has no further change and the archive's blocks of
its days have the same checksums. Care profile and settings are those of the process.
"""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.gathering import Facts
from collector.book.book import Book
from collector.book.records import Meal
from collector.store.columns import DAY_MS
from collector.store.reader import Reader, Stamps

if TYPE_CHECKING:
    from analysis.review import Review

MOST = 5_000
"""Some 10 kB each."""


@dataclass(frozen=True, slots=True)
class _Kept:
    change: int
    stamp: int
    review: Review


class JudgedMeals:
    """Those of one home; for several threads. Beyond `most` those used longest ago go."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        """How many are kept."""
        return len(self._kept)

    def now(self, book: Book, reader: Reader, facts: Facts, now_ms: int) -> JudgedNow:
        """For one look at the home."""
        probes = {one.probe for one in facts.placements}
        known = reader.stamps()
        stamps = None
        if known is not None:
            stamps = [stamp for key, stamp in known.items() if key.probe in probes]
        return JudgedNow(self, book.newest_change(), stamps, facts, now_ms)

    def find(self, meal: int) -> _Kept | None:
        """What is kept of a meal."""
        with self._lock:
            kept = self._kept.get(meal)
            if kept is not None:
                self._kept.move_to_end(meal)
            return kept

    def keep(self, kept: _Kept) -> None:
        """Keep one in the place of what was kept of that meal."""
        with self._lock:
            self._kept[kept.review.meal] = kept
            self._kept.move_to_end(kept.review.meal)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


@dataclass(frozen=True, slots=True)
class JudgedNow:
    """The kept meals beside the home as it is now."""

    judged: JudgedMeals
    change: int
    stamps: list[Stamps] | None
    facts: Facts
    now_ms: int

    def review(self, meal: Meal, judge: Callable[[], Review]) -> Review:
        """The meal's review: as it was kept where that holds, else judged."""
        kept = self.judged.find(meal.meal)
        if kept is not None and self._holds(meal, kept):
            return kept.review
        review = judge()
        stamp = self._stamp(review)
        if stamp is not None and self._is_over(meal, review):
            self.judged.keep(_Kept(self.change, stamp, review))
        return review

    def _holds(self, meal: Meal, kept: _Kept) -> bool:
        same = kept.change == self.change and kept.stamp == self._stamp(kept.review)
        return same and self._is_over(meal, kept.review)

    def _is_over(self, meal: Meal, review: Review) -> bool:
        """True when time alone changes nothing more of it: the animal has taken another since."""
        later = self.facts.meals[meal.animal][-1].meal != meal.meal
        return later and review.window.end_ms < self.now_ms - DAY_MS

    def _stamp(self, review: Review) -> int | None:
        """What tells the readings of its days, and of a day more at each end; None while some of
        them are in the journal only, and where the archive cannot tell."""
        if self.stamps is None:
            return None
        first = review.window.start_ms // DAY_MS - 1
        end = review.window.end_ms // DAY_MS + 2
        parts: list[Iterable[int]] = []
        for one in self.stamps:
            if one.journal_ms is not None and one.journal_ms < end * DAY_MS:
                return None
            begin = bisect_left(one.days, first)
            stop = bisect_left(one.days, end, begin)
            parts += (tuple(one.days[begin:stop]), tuple(one.crc32[begin:stop]))
        return hash(tuple(parts))
