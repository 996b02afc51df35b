"""What the watch takes from the record book: which probes lie where, and who digests where.

The book is read again only when its file has changed, or after a few minutes.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from analysis.meal_words import prey
from analysis.watch.states import DAY_MS, HOUR_MS, Digesting
from analysis.window import Window, meal_window
from collector.book.book import Book
from collector.book.records import Meal, Placement, Stay, Weighing
from config.care import CareProfile
from config.home import Home
from config.settings import Settings

_READ_AGAIN_SECONDS = 300.0
_Record = TypeVar("_Record", Meal, Weighing, Stay)


@dataclass(frozen=True, slots=True)
class Roster:
    """A part of the book at one moment. `digesting` is by enclosure."""

    rooms: dict[str, str] = field(default_factory=dict)
    placements: tuple[Placement, ...] = ()
    digesting: dict[str, tuple[Digesting, ...]] = field(default_factory=dict)

    def placed_at(self, at_ms: int) -> list[Placement]:
        """The placements that hold at that moment."""
        return [p for p in self.placements if placed(p, at_ms)]


def placed(placement: Placement, at_ms: int) -> bool:
    """True when the placement holds at that moment."""
    until_ms = placement.until_ms
    return placement.since_ms <= at_ms and (until_ms is None or at_ms < until_ms)


def digesting_by_enclosure(
    meals: Iterable[Meal],
    weighings: Iterable[Weighing],
    stays: Iterable[Stay],
    *,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> dict[str, tuple[Digesting, ...]]:
    """Who digests what where: each recent meal's window, cut to the animal's stays."""
    weighed, stayed = _by_animal(weighings), _by_animal(stays)
    found: dict[str, list[Digesting]] = {}
    for animal, own in _by_animal(meals).items():
        for meal in own:
            window = _window(meal, own, weighed.get(animal, []), care, now_ms)
            if window is not None:
                for stay in stayed.get(animal, []):
                    _add_part(found, meal, window, stay, settings)
    return {enclosure: tuple(several) for enclosure, several in found.items()}


def _window(
    meal: Meal, own: Sequence[Meal], weighings: Sequence[Weighing], care: CareProfile, now_ms: int
) -> Window | None:
    """The window of a recent meal as it will have been in the end; None for any other."""
    lengths = care.window
    longest_ms = round(
        max(lengths.max_days.value * DAY_MS, lengths.unknown_days.value * DAY_MS,
            lengths.min_hours.value * HOUR_MS)
    )  # fmt: skip
    taken_ms = meal.taken_at_ms
    # Windows that closed up to a day ago serve for readings that are judged late.
    if taken_ms is None or not now_ms - longest_ms - DAY_MS <= taken_ms <= now_ms + DAY_MS:
        return None
    return meal_window(meal, own, weighings, care, taken_ms + longest_ms + 1)


def _add_part(
    found: dict[str, list[Digesting]], meal: Meal, window: Window, stay: Stay, settings: Settings
) -> None:
    start_ms = max(window.start_ms, stay.since_ms)
    end_ms = window.end_ms if stay.until_ms is None else min(window.end_ms, stay.until_ms)
    if start_ms < end_ms:
        one = Digesting(meal.animal, prey(meal, settings), window.start_ms, start_ms, end_ms)
        found.setdefault(stay.enclosure, []).append(one)


def _by_animal(records: Iterable[_Record]) -> dict[str, list[_Record]]:
    found: dict[str, list[_Record]] = {}
    for record in records:
        found.setdefault(record.animal, []).append(record)
    return found


class RosterReader:
    """The book of a home, read when it has changed."""

    def __init__(
        self,
        home: Home,
        care: CareProfile,
        settings: Settings,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._home = home
        self._care = care
        self._settings = settings
        self._monotonic = monotonic
        self._roster: Roster | None = None
        self._mark: Sequence[object] = ()
        self._read_s = 0.0

    def roster(self, now_ms: int) -> Roster | None:
        """What the book says; None when there is no book. Raises StoreFault."""
        if not self._home.book.exists():
            self._roster = None
            return None
        mark, now_s = self._file_mark(), self._monotonic()
        fresh = mark == self._mark and now_s - self._read_s < _READ_AGAIN_SECONDS
        if self._roster is None or not fresh:
            self._roster = self._read(now_ms)
            self._mark, self._read_s = mark, now_s
        return self._roster

    def _file_mark(self) -> Sequence[object]:
        book = self._home.book
        marks: list[object] = []
        for path in (book, book.with_name(book.name + "-wal")):
            try:
                seen = path.stat()
            except OSError:
                marks.append(None)
            else:
                marks.append((seen.st_ino, seen.st_mtime_ns, seen.st_size))
        return marks

    def _read(self, now_ms: int) -> Roster:
        with Book(self._home.book, read_only=True) as book, book.transaction():  # one moment
            rooms = {e.enclosure: e.room for e in book.enclosures() if e.room}
            digesting = digesting_by_enclosure(
                book.meals(),
                book.weighings(),
                book.stays(),
                care=self._care,
                settings=self._settings,
                now_ms=now_ms,
            )
            return Roster(rooms, tuple(book.placements()), digesting)
