"""What is kept of judged meals is what judging them again would give; and it is not kept longer."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.judged import JudgedMeals
from analysis.review import Review, review_all
from collector.book.book import Book
from collector.readings import Quantity, Reading
from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.home import Home
from config.settings import load_settings
from tests.analysis.page.homes import DAY, FIRST, HOUR, MINUTE, NOW, SECOND, make_home


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return make_home(tmp_path / "home")


def judged(home: Home, now_ms: int, kept: JudgedMeals | None = None) -> list[Review]:
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        care, settings = load_care_profile("boa-constrictor"), load_settings(home)
        return review_all(book, reader, care, settings, now_ms, kept=kept)


def at(at_ms: int, celsius: float = 24.0) -> Reading:
    return Reading("warm", Quantity.TEMPERATURE, at_ms, celsius)


def test_it_is_the_same_whenever_it_is_asked(home: Home) -> None:
    kept = JudgedMeals()
    for later_ms in (0, 0, HOUR, 40 * DAY, 400 * DAY):
        assert judged(home, NOW + later_ms, kept) == judged(home, NOW + later_ms)
        assert len(kept) == 2, "not the last one: it goes on"


def test_what_holds_is_not_judged_again(home: Home) -> None:
    kept = JudgedMeals()
    first, again = judged(home, NOW, kept), judged(home, NOW + HOUR, kept)
    same = [one.measured is other.measured for one, other in zip(first, again, strict=True)]
    assert same == [True, True, False]


def test_a_change_in_the_book_has_all_judged_again(home: Home) -> None:
    kept = JudgedMeals()
    judged(home, NOW, kept)
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(replace(book.meal(1), prey_mass_g=90.0))
    assert judged(home, NOW, kept) == judged(home, NOW)


def test_readings_that_come_late_are_seen(home: Home) -> None:
    """Into a gap of the second meal: first in the journal, then sealed."""
    kept, in_the_gap = JudgedMeals(), SECOND + 2 * DAY + HOUR
    before = judged(home, NOW, kept)
    late = [at(in_the_gap + n * MINUTE) for n in range(30)]
    with closing(Journal(home.journal)) as journal:
        journal.commit(late)
    seen = judged(home, NOW, kept)
    assert seen == judged(home, NOW) != before
    with closing(SqliteArchive(home.archive)) as archive:
        archive.write(Columns.of(late))
    assert judged(home, NOW, kept) == judged(home, NOW) == seen


def test_it_is_bounded(home: Home) -> None:
    kept = JudgedMeals(most=1)
    assert judged(home, NOW, kept) == judged(home, NOW, kept) == judged(home, NOW)
    assert len(kept) == 1
    assert FIRST < SECOND
