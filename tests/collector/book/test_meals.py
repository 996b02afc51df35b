"""Which meal of the book a meal is: one that was entered in two goes stays one meal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.book.book import Book
from collector.book.records import Animal, Meal, Outcome
from config.errors import BadEntry, NotSo
from tests.collector.book.invented import DAY, HOUR, NOW

OFFERED, TAKEN = NOW - DAY, NOW - DAY + HOUR


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book.db", now_ms=lambda: NOW) as made:
        made.put(Animal("Juno"))
        made.put(Animal("Pip"))
        yield made


def offered(animal: str = "Juno", **more: int | str) -> Meal:
    return Meal(0, animal, offered_at_ms=OFFERED, **more)  # type: ignore[arg-type]


ONE_MEAL = [
    (offered(), offered(taken_at_ms=TAKEN)),
    (offered(taken_at_ms=TAKEN), offered()),
    (offered(taken_at_ms=TAKEN), Meal(0, "Juno", taken_at_ms=TAKEN)),
    (Meal(0, "Juno", taken_at_ms=TAKEN), offered(taken_at_ms=TAKEN)),
    (Meal(0, "Juno", taken_at_ms=OFFERED), offered()),
]


@pytest.mark.parametrize(("first", "second"), ONE_MEAL)
def test_one_meal_entered_twice_is_one_meal(book: Book, first: Meal, second: Meal) -> None:
    assert book.put(first) == "added"
    assert book.put(second) == "changed"
    assert [m.meal for m in book.meals()] == [1]
    assert book.put(second) == "same"


TWO_MEALS = [
    (offered(), offered("Pip")),
    (offered(taken_at_ms=TAKEN), Meal(0, "Juno", taken_at_ms=TAKEN + 1)),
    (offered(), Meal(0, "Juno", taken_at_ms=TAKEN)),
]


@pytest.mark.parametrize(("first", "second"), TWO_MEALS)
def test_two_meals_are_two(book: Book, first: Meal, second: Meal) -> None:
    assert [book.put(first), book.put(second)] == ["added", "added"]
    assert [m.meal for m in book.meals()] == [1, 2]


def test_two_meals_taken_at_one_moment_are_refused(book: Book) -> None:
    book.put(offered(taken_at_ms=TAKEN))
    with pytest.raises(BadEntry) as caught:
        book.put(Meal(0, "Juno", offered_at_ms=OFFERED + 1, taken_at_ms=TAKEN))
    assert str(caught.value) == (
        "meal of 'Juno' at 2023-11-13T22:13:20.001Z, taken_at: meal 1 of this animal has that "
        "time already; correct that one"
    )


def test_a_meal_that_fits_two_is_refused(book: Book) -> None:
    book.put(offered())
    book.put(Meal(0, "Juno", taken_at_ms=TAKEN))
    with pytest.raises(BadEntry) as caught:
        book.put(offered(taken_at_ms=TAKEN))
    assert str(caught.value) == (
        "meal of 'Juno': is meal 1 by one time and meal 2 by the other; remove one of them first"
    )


def test_by_its_number_every_time_of_a_meal_can_be_corrected(book: Book) -> None:
    book.put(offered())
    assert book.put(Meal(1, "Juno", offered_at_ms=OFFERED + HOUR)) == "changed"
    assert book.meal(1).offered_at_ms == OFFERED + HOUR
    book.put(offered())
    with pytest.raises(BadEntry, match="meal 2 of this animal has that time already"):
        book.put(Meal(1, "Juno", offered_at_ms=OFFERED))


def test_numbers_are_never_given_twice_and_a_removed_meal_keeps_its_own(book: Book) -> None:
    book.put(offered())
    book.put(offered("Pip"))
    book.remove(book.meal(2))
    with pytest.raises(NotSo, match="no meal 2 in the book"):
        book.meal(2)
    book.put(Meal(0, "Pip", taken_at_ms=TAKEN))
    assert [m.meal for m in book.meals()] == [1, 3]
    removed = next(c.record for c in book.history() if c.action == "removed")
    assert removed is not None
    assert book.put(removed) == "added"  # the undo of a removal
    assert book.meal(2) == removed
    with pytest.raises(BadEntry, match="no meal 9 in the book; leave the number out"):
        book.put(Meal(9, "Juno", taken_at_ms=TAKEN + DAY))


def test_stored_tells_the_number_of_a_new_meal(book: Book) -> None:
    book.put(offered())
    found = book.stored(offered())
    assert found is not None
    assert found.meal == 1


def test_meals_come_by_when_they_were_taken(book: Book) -> None:
    book.put(Meal(0, "Juno", offered_at_ms=OFFERED, outcome=Outcome.REFUSED))
    book.put(Meal(0, "Juno", offered_at_ms=OFFERED - HOUR, taken_at_ms=OFFERED + HOUR))
    book.put(Meal(0, "Juno", taken_at_ms=OFFERED - 2 * HOUR))
    assert [m.meal for m in book.meals("Juno")] == [3, 1, 2]
    assert book.meals("Pip") == []
