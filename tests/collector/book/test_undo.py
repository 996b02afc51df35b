"""Taking entries back: one command is one entry, whatever it changed; nothing is forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Meal, Stay, Weighing
from config.errors import BadEntry, NotSo
from tests.collector.book.invented import DAY, NOW


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book.db", who="Ada", now_ms=lambda: NOW) as book:
        yield book


def test_what_was_written_together_is_taken_back_together(book: Book) -> None:
    book.put(Enclosure("tub"))
    with book.transaction():
        book.put(Animal("Juno"))
        book.put(Stay("Juno", "tub", NOW - DAY))
        book.put(Meal(0, "Juno", taken_at_ms=NOW - 1))
    assert [(c.action, c.kind) for c in book.undo()] == [
        ("added", "animal"), ("added", "stay"), ("added", "meal"),
    ]  # fmt: skip
    assert (book.animals(), book.stays(), book.meals()) == ([], [], [])
    assert book.enclosures() == [Enclosure("tub")]
    assert [c.undoes for c in book.history()] == [None] * 4 + [2] * 3


def test_steps_back_go_on_and_an_undo_can_be_undone(book: Book) -> None:
    for mass_g in (100.0, 110.0, 120.0):
        with book.transaction():
            book.put(Animal("Juno"))
            book.put(Weighing("Juno", NOW - DAY, mass_g=mass_g))
    masses = []
    for _ in range(3):
        masses.append([w.mass_g for w in book.weighings()])
        book.undo()
    assert masses == [[120.0], [110.0], [100.0]]
    assert (book.weighings(), book.animals()) == ([], [])
    with pytest.raises(NotSo, match="nothing to take back"):
        book.undo()
    last = book.history()[-1].number
    book.undo(last)  # the first entry is there again
    assert [w.mass_g for w in book.weighings()] == [100.0]
    with pytest.raises(NotSo, match="was taken back already"):
        book.undo(last)
    book.undo()
    assert book.weighings() == []


def test_an_entry_changed_since_is_not_taken_back(book: Book) -> None:
    book.put(Enclosure("tub"))
    book.put(Enclosure("tub", "cellar"))
    before = book.history()
    with pytest.raises(BadEntry, match=r"enclosure 'tub' was changed since.*warmcoil undo 2"):
        book.undo(1)
    with pytest.raises(NotSo, match="no change 99"):
        book.undo(99)
    assert book.history() == before
    book.undo(2)
    book.undo(1)
    assert book.enclosures() == []


def test_what_others_need_is_not_taken_back(book: Book) -> None:
    book.put(Animal("Juno"))
    book.put(Weighing("Juno", NOW, mass_g=1.0))
    with pytest.raises(BadEntry, match="the book has a weighing of it"):
        book.undo(1)
    assert len(book.history()) == 2


def test_an_entry_that_failed_leaves_no_gap_in_the_next(book: Book) -> None:
    """The first change of an entry may be undone inside it: the rest is still one entry."""
    with book.transaction():
        with pytest.raises(BadEntry):
            _lost(book)
        book.put(Enclosure("a"))
        book.put(Enclosure("b"))
    assert [(c.number, c.entry) for c in book.history()] == [(1, 1), (2, 1)]
    book.undo()
    assert book.enclosures() == []


def _lost(book: Book) -> None:
    with book.transaction():
        book.put(Enclosure("lost"))
        book.put(Stay("Nobody", "lost", NOW))
