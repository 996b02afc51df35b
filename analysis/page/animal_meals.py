"""One animal's meals, the newest first, a page at a time: each its ribbon, on one scale for all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from analysis.gathering import Facts, gathered_from
from analysis.meal_words import meal_sentence, prey
from analysis.page.looking import Looking
from analysis.page.ribbons import ribbon_of
from analysis.review import review
from analysis.tracks import Tracks
from analysis.verdict_words import verdict_sentence
from analysis.window import taken_at_ms
from analysis.words import local_time
from collector.book.records import Meal

PER_PAGE = 20
_DAYS_NAMED_EVERY = 5


@dataclass(frozen=True, slots=True)
class MealShown:
    """One meal in the list. Without a ribbon: it was not taken."""

    meal: int
    words: str
    verdict: str
    """What its warm side was, where that is not simply warm enough; empty otherwise."""
    ribbon: Markup | None


@dataclass(frozen=True, slots=True)
class MealsShown:
    """A page of them, and where it lies among all. Counted from 1."""

    shown: list[MealShown]
    first: int
    last: int
    count: int
    page: int
    pages: int


def meals_shown(animal: str, page: int, home: Looking) -> MealsShown:
    """Page `page` of an animal's meals; the last one where there are not as many."""
    every = home.book.meals(animal)[::-1]
    pages = max(1, -(-len(every) // PER_PAGE))
    page = min(max(page, 1), pages)
    first = (page - 1) * PER_PAGE
    own = every[first : first + PER_PAGE]
    return MealsShown(
        shown=list(_shown(animal, own, home)),
        first=first + 1,
        last=first + len(own),
        count=len(every),
        page=page,
        pages=pages,
    )


def _shown(animal: str, meals: list[Meal], home: Looking) -> Iterator[MealShown]:
    facts, tracks = Facts.of(home.book, animal), Tracks(home.reader)
    ribbons = 0
    for one in meals:
        if taken_at_ms(one) is None:
            yield MealShown(one.meal, meal_sentence(one, home.settings), "", None)
            continue
        gathered = gathered_from(
            one, facts, tracks,
            care=home.care, settings=home.settings, now_ms=home.now_ms, with_room=False,
        )  # fmt: skip
        judged = review(gathered, home.care, home.settings)
        good = judged.verdict == judged.possible == "warm enough"
        yield MealShown(
            meal=one.meal,
            words=f"{local_time(one.taken_at_ms, home.zone)}, {prey(one, home.settings)}",
            verdict="" if good else verdict_sentence(judged),
            ribbon=ribbon_of(
                judged, gathered, home.care, home.settings, days=ribbons % _DAYS_NAMED_EVERY == 0
            ),
        )
        ribbons += 1
