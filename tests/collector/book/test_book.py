"""The record book: keys, rules, history, migrations, and many readers beside one writer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.book.book import Book
from collector.book.check import check_book
from collector.book.records import (
    Animal,
    Enclosure,
    Handling,
    Meal,
    Outcome,
    Placement,
    Record,
    Stay,
    Weighing,
    Zone,
)
from config.errors import BadEntry, NotSo, StoreFault

NOW = 1_700_000_000_000
HOUR = 3_600_000
DAY = 24 * HOUR


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book.db", who="a test", now_ms=lambda: NOW) as made:
        made.put(Enclosure("tub"))
        made.put(Enclosure("shelf"))
        made.put(Animal("Juno"))
        yield made


def test_a_meal_is_found_again_when_it_was_taken_later(book: Book) -> None:
    offered = Meal(0, "Juno", offered_at_ms=NOW - DAY)
    assert book.put(offered) == "added"
    taken = Meal(0, "Juno", offered_at_ms=NOW - DAY, taken_at_ms=NOW - DAY + 60_000)
    assert book.put(taken) == "changed"
    assert book.put(taken) == "same"
    (meal,) = book.meals("Juno")
    assert (meal.meal, meal.taken_at_ms) == (1, NOW - DAY + 60_000)


def test_every_change_and_removal_keeps_the_version_before(book: Book) -> None:
    book.put(Weighing("Juno", NOW - DAY, mass_g=1500))
    book.put(Weighing("Juno", NOW - DAY, mass_g=1510))
    book.remove(Weighing("Juno", NOW - DAY))
    assert book.weighings() == []
    changes = book.history(Weighing("Juno", NOW - DAY))
    assert [c.action for c in changes] == ["added", "changed", "removed"]
    assert all(c.who == "a test" for c in changes)
    assert "1500" in str(changes[1].before)
    assert "1510" in str(changes[2].before)


def test_a_stay_ends_when_the_next_begins_and_a_placement_too(book: Book) -> None:
    book.put(Stay("Juno", "tub", NOW - 9 * DAY))
    book.put(Stay("Juno", "shelf", NOW - 5 * DAY))
    assert [s.until_ms for s in book.stays("Juno")] == [NOW - 5 * DAY, None]
    book.put(Placement("p", "tub", Zone.WARM_SIDE, NOW - 9 * DAY))
    book.put(Placement("p", "tub", Zone.COOL_SIDE, NOW - 2 * DAY))
    assert [p.until_ms for p in book.placements("p")] == [NOW - 2 * DAY, None]


IMPOSSIBLE: list[tuple[Record, str]] = [
    (Meal(0, "Juno", offered_at_ms=NOW - DAY, taken_at_ms=NOW - 2 * DAY), "taken_at"),
    (Meal(0, "Juno", taken_at_ms=NOW + 2 * DAY), "taken_at"),
    (
        Meal(0, "Juno", taken_at_ms=NOW - DAY, outcome=Outcome.KEPT, outcome_at_ms=NOW - 2 * DAY),
        "outcome_at",
    ),
    (Meal(0, "Juno", taken_at_ms=NOW - DAY, outcome=Outcome.REFUSED), "outcome"),
    (Meal(0, "Juno", taken_at_ms=NOW - DAY, prey_mass_g=-1.0), "prey_mass_g"),
    (Meal(0, "Juno", taken_at_ms=NOW - DAY, prey_surface_c=400.0), "prey_surface_c"),
    (Meal(0, "Nobody", taken_at_ms=NOW - DAY), "animal"),
    (Weighing("Juno", NOW, mass_g=0.0), "mass_g"),
    (Weighing("Juno", NOW, mass_g=1e9), "mass_g"),
    (Handling("Juno", NOW + 3 * DAY), "time"),
    (Stay("Juno", "nowhere", NOW), "enclosure"),
    (Placement("p", "tub", Zone.HIDE, NOW, NOW - DAY), "until"),
]


@pytest.mark.parametrize(("record", "field"), IMPOSSIBLE)
def test_what_cannot_be_true_is_refused_in_one_line(book: Book, record: Record, field: str) -> None:
    with pytest.raises(BadEntry) as caught:
        book.put(record)
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_an_animal_that_others_need_stays(book: Book) -> None:
    book.put(Stay("Juno", "tub", NOW - DAY))
    with pytest.raises(BadEntry):
        book.remove(Animal("Juno"))
    assert [a.animal for a in book.animals()] == ["Juno"]


def test_a_transaction_is_all_or_none(book: Book) -> None:
    def both() -> None:
        with book.transaction():
            book.put(Weighing("Juno", NOW - DAY, mass_g=1500))
            book.put(Weighing("Nobody", NOW - DAY, mass_g=1500))

    with pytest.raises(BadEntry):
        both()
    assert book.weighings() == []


def test_a_reader_sees_the_old_until_the_new_is_whole(book: Book) -> None:
    with Book(book.path, read_only=True) as reader:
        with book.transaction():
            book.put(Weighing("Juno", NOW - DAY, mass_g=1500))
            assert reader.weighings() == []
        assert len(reader.weighings()) == 1


def test_a_book_of_a_newer_make_is_refused(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db"):
        pass
    with closing(sqlite3.connect(tmp_path / "book.db")) as db:
        db.execute("PRAGMA user_version = 999")
    with pytest.raises(StoreFault) as caught:
        Book(tmp_path / "book.db")
    assert "\n" not in str(caught.value)


def test_a_book_that_is_not_there_reads_as_empty(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db", read_only=True) as book:
        assert book.animals() == []
        with pytest.raises(NotSo):
            book.meal(1)
    assert not (tmp_path / "book.db").exists()


def test_check_finds_nothing_in_a_good_book_and_a_flipped_page_in_a_bad_one(book: Book) -> None:
    for day in range(200):
        book.put(Weighing("Juno", NOW - day * DAY, mass_g=1500.0 + day))
    assert check_book(book.path) == []
    book.close()
    content = bytearray(book.path.read_bytes())
    content[3 * 4096 : 4 * 4096] = bytes(4096)
    book.path.write_bytes(content)
    assert check_book(book.path) != []
