"""Which days of which probes stay raw for ever: those around meals.

Around a meal are the longest window that any meal of the care profile can have, whatever became of
this one, and a day at each end; so an outcome or a weighing entered years later still finds its
readings. In that time every probe is kept that lay in an enclosure where the animal lived then, or
measured the room of one; and every probe of which the book does not say where it lay: it may have
been there. Where the book does not say where the animal was, all are kept. Every offer counts,
also one that was refused: that may be a slip.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from analysis.window import DAY_MS, HOUR_MS
from analysis.zones import room_placements
from collector.book.book import Book
from collector.book.records import Meal, Placement, Stay
from config.care import CareProfile
from config.settings import Settings

_LEAST_DAYS = 14
"""A care profile may have shorter windows now, and longer ones again later."""
_FOR_EVER_MS = 2**62

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class AroundMeal:
    """The time around one meal, [start_ms, end_ms), and where its animal lived in it."""

    start_ms: int
    end_ms: int
    enclosures: frozenset[str]


class KeptRaw:
    """Asked for each probe and UTC day. Pure: made from records."""

    def __init__(self, meals: Iterable[AroundMeal], placements: Iterable[Placement]) -> None:
        self._meals = list(meals)
        self._placements: dict[str, list[Placement]] = defaultdict(list)
        for one in placements:
            self._placements[one.probe].append(one)
        self._days: dict[str, list[Span]] = {}

    def keeps(self, probe: str, day: int) -> bool:
        """True when that probe's readings of that day (counted from 1970) stay as they are."""
        days = self._days.get(probe)
        if days is None:
            days = self._days[probe] = _whole_days(self._spans(self._placements[probe]))
        at = bisect_right(days, day, key=lambda span: span[0])
        return at > 0 and day < days[at - 1][1]

    def _spans(self, placements: Sequence[Placement]) -> Iterator[Span]:
        """When a probe that lay in these places may have been near a meal, in ms."""
        for meal in self._meals:
            there = [one for one in placements if _reaches(one, meal.start_ms, meal.end_ms)]
            if not meal.enclosures or any(one.enclosure in meal.enclosures for one in there):
                yield meal.start_ms, meal.end_ms
            else:
                yield from _between(there, meal.start_ms, meal.end_ms)


def kept_raw(book: Book, care: CareProfile, settings: Settings) -> KeptRaw:
    """What the book says is to be kept raw for ever."""
    placements = book.placements()
    stays: dict[str, list[Stay]] = defaultdict(list)
    for one in book.stays():
        stays[one.animal].append(one)
    margin_ms = max(DAY_MS, round(settings.review.gap_minutes * 60_000))
    return KeptRaw(
        (
            around
            for meal in book.meals()
            if (around := _around(meal, stays[meal.animal], _longest_ms(care), margin_ms))
        ),
        [*placements, *room_placements(placements, book.enclosures())],
    )


def _around(
    meal: Meal, stays: Iterable[Stay], longest_ms: int, margin_ms: int
) -> AroundMeal | None:
    moments = [at_ms for at_ms in (meal.offered_at_ms, meal.taken_at_ms) if at_ms is not None]
    if not moments:
        return None
    start_ms, end_ms = min(moments) - margin_ms, max(moments) + longest_ms + margin_ms
    lived = frozenset(one.enclosure for one in stays if _reaches(one, start_ms, end_ms))
    return AroundMeal(start_ms, end_ms, lived)


def _longest_ms(care: CareProfile) -> int:
    window = care.window
    days = max(_LEAST_DAYS, window.max_days.value, window.unknown_days.value)
    return round(max(days * DAY_MS, window.min_hours.value * HOUR_MS))


def _reaches(one: Stay | Placement, start_ms: int, end_ms: int) -> bool:
    return one.since_ms < end_ms and (one.until_ms is None or one.until_ms > start_ms)


def _between(placements: Iterable[Placement], start_ms: int, end_ms: int) -> Iterator[Span]:
    """The parts of [start_ms, end_ms) in which a probe lay nowhere, as far as the book knows."""
    at_ms = start_ms
    for one in sorted(placements, key=lambda one: one.since_ms):
        if one.since_ms > at_ms:
            yield at_ms, one.since_ms
        at_ms = max(at_ms, _FOR_EVER_MS if one.until_ms is None else one.until_ms)
    if at_ms < end_ms:
        yield at_ms, end_ms


def _whole_days(spans: Iterable[Span]) -> list[Span]:
    """The UTC days that spans touch, as ranges in order that do not."""
    found: list[Span] = []
    for start_ms, end_ms in sorted(spans):
        first, end = start_ms // DAY_MS, -(-end_ms // DAY_MS)
        if found and first <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((first, end))
    return found
