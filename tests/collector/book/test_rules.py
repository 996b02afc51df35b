"""What the book refuses, word by word: one line with what, where, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given

from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Handling,
    Meal,
    Outcome,
    Placement,
    Record,
    Shed,
    Stay,
    Weighing,
    Zone,
)
from collector.book.rules import objections
from config.errors import BadEntry
from tests.collector.book.invented import DAY, HOUR, NOW, books

DONE = Meal(0, "Juno", offered_at_ms=NOW - 3 * HOUR, taken_at_ms=NOW - 2 * HOUR)
MEAL = "meal of 'Juno' at 2023-11-14T19:13:20Z"
AT = "2023-11-14T22:13:20Z"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book.db", now_ms=lambda: NOW) as made:
        for record in (Enclosure("tub"), Enclosure("shelf"), Animal("Juno")):
            made.put(record)
        made.put(Placement("p", "tub", Zone.HIDE, NOW - 9 * DAY, NOW - 5 * DAY))
        made.put(Placement("p", "tub", Zone.HIDE, NOW - 3 * DAY))
        yield made


REFUSED: list[tuple[Record, str]] = [
    (
        replace(DONE, taken_at_ms=NOW - 4 * HOUR),
        f"{MEAL}, taken_at: is before offered_at (2023-11-14T19:13:20Z); correct one of the two",
    ),
    (
        replace(DONE, removed_at_ms=NOW - 4 * HOUR),
        f"{MEAL}, removed_at: is before offered_at (2023-11-14T19:13:20Z); correct one of the two",
    ),
    (
        replace(DONE, outcome=Outcome.PASSED, outcome_at_ms=NOW - 150 * 60_000),
        f"{MEAL}, outcome_at: is before taken_at (2023-11-14T20:13:20Z); correct one of the two",
    ),
    (
        replace(DONE, outcome=Outcome.REFUSED),
        f"{MEAL}, outcome: is refused, but taken_at is given; take one of the two out",
    ),
    (
        replace(DONE, outcome_at_ms=NOW),
        f"{MEAL}, outcome_at: is given without an outcome; say what became of the meal",
    ),
    (
        Meal(0, "Juno"),
        (
            "meal of 'Juno' at an unknown time, taken_at: is unknown, and so is offered_at; "
            "give one of the two"
        ),
    ),
    (
        replace(DONE, prey_mass_g=0.0),
        f"{MEAL}, prey_mass_g: 0.0 g cannot be; it is more than 0 and at most 100000 g",
    ),
    (
        replace(DONE, prey_mass_g=float("nan")),
        f"{MEAL}, prey_mass_g: nan g cannot be; it is more than 0 and at most 100000 g",
    ),
    (
        replace(DONE, prey_width_mm=-31.0),
        f"{MEAL}, prey_width_mm: -31.0 mm cannot be; it is more than 0 and at most 1000 mm",
    ),
    (
        replace(DONE, prey_count=0),
        f"{MEAL}, prey_count: 0 cannot be; it is more than 0 and at most 1000",
    ),
    (
        replace(DONE, prey_surface_c=60.5),
        f"{MEAL}, prey_surface_c: 60.5 °C cannot be; it is 0 or more and at most 60 °C",
    ),
    (
        Weighing("Juno", NOW, mass_g=100_001.0),
        (
            f"weighing of 'Juno' at {AT}, mass_g: 100001.0 g cannot be; it is more than 0 and at "
            "most 100000 g"
        ),
    ),
    (
        Weighing("Juno", NOW, length_cm=-1.0),
        (
            f"weighing of 'Juno' at {AT}, length_cm: -1.0 cm cannot be; it is more than 0 and at "
            "most 2000 cm"
        ),
    ),
    (
        Weighing("Juno", NOW, midbody_mm=float("inf")),
        (
            f"weighing of 'Juno' at {AT}, midbody_mm: inf mm cannot be; it is more than 0 and at "
            "most 1000 mm"
        ),
    ),
    (
        Weighing("Juno", NOW),
        f"weighing of 'Juno' at {AT}, mass_g: nothing was measured; give mass, length or width",
    ),
    (
        Handling("Juno", NOW, minutes=-5.0),
        (
            f"handling of 'Juno' at {AT}, minutes: -5.0 min cannot be; it is 0 or more and at most "
            "1440 min"
        ),
    ),
    (
        Shed("Juno", NOW + DAY + 1),
        (
            "shed of 'Juno' at 2023-11-15T22:13:20.001Z, time: 2023-11-15T22:13:20.001Z is "
            f"more than a day ahead of this machine's clock ({AT}); correct the time or the clock"
        ),
    ),
    (
        Shed("Juno", -(10**14)),
        "shed of 'Juno' at -100000000000000 ms, time: is before 1900; correct the year",
    ),
    (
        Shed("Nobody", NOW),
        (
            f"shed of 'Nobody' at {AT}, animal: no animal 'Nobody' in the book; enter or import "
            "the animals first"
        ),
    ),
    (
        Stay("Juno", "attic", NOW),
        (
            f"stay of 'Juno' since {AT}, enclosure: no enclosure 'attic' in the book; enter or "
            "import the enclosures first"
        ),
    ),
    (
        Stay("Juno", "tub", NOW, NOW),
        f"stay of 'Juno' since {AT}, until: is not after since ({AT}); correct one of the two",
    ),
    (
        Placement("p", "tub", Zone.HIDE, NOW, NOW - HOUR),
        (
            f"placement of probe 'p' since {AT}, until: is not after since ({AT}); correct one of "
            "the two"
        ),
    ),
    (
        Placement("p", "tub", Zone.HIDE, NOW - 6 * DAY, NOW - 4 * DAY),
        (
            "placement of probe 'p' since 2023-11-08T22:13:20Z, since: this probe is placed from "
            "2023-11-05T22:13:20Z until 2023-11-09T22:13:20Z already; end that first"
        ),
    ),
    (
        Placement("p", "tub", Zone.HIDE, NOW - 4 * DAY, NOW - 2 * DAY),
        (
            "placement of probe 'p' since 2023-11-10T22:13:20Z, until: is after "
            "2023-11-11T22:13:20Z, when this probe's next placement begins; end it there"
        ),
    ),
    (
        Animal("Pip", born=date(2023, 11, 16)),
        "animal 'Pip', born: 2023-11-16 is in the future; correct it",
    ),
    (
        Animal("Pip", born=date(1899, 12, 31)),
        "animal 'Pip', born: is before 1900; correct the year",
    ),
    (Animal(""), "animal '', animal: is empty; give a name"),
    (
        Animal("Pip "),
        (
            "animal 'Pip ', animal: 'Pip ' has a space at an end, or a character that cannot be "
            "seen; take it out"
        ),
    ),
    (
        Enclosure("tub\n2"),
        (
            "enclosure 'tub\\n2', enclosure: 'tub\\n2' has a space at an end, or a character that "
            "cannot be seen; take it out"
        ),
    ),
    (
        Enclosure("tub", notes="\0"),
        "enclosure 'tub', notes: holds a character that is no text; take it out",
    ),
    (
        Enclosure("tub", room="\udc80"),
        "enclosure 'tub', room: holds a character that is no text; take it out",
    ),
    (
        Enclosure("tub", notes="x" * 20_001),
        "enclosure 'tub', notes: is 20001 characters long; 20000 are the most",
    ),
]


@pytest.mark.parametrize(("record", "text"), REFUSED)
def test_what_cannot_be_is_refused_word_by_word(book: Book, record: Record, text: str) -> None:
    before = list(book.enclosures()), list(book.animals()), book.placements(), book.history()
    with pytest.raises(BadEntry) as caught:
        book.put(record)
    assert str(caught.value) == text
    assert caught.value.exit_code == 2
    assert text.endswith(f", {caught.value.field}: {caught.value.why}")
    after = list(book.enclosures()), list(book.animals()), book.placements(), book.history()
    assert after == before


NEEDED: list[tuple[Record, str]] = [
    (
        Enclosure("tub"),
        "enclosure 'tub', enclosure: the book has a stay of it (1 in all); remove that first",
    ),
    (
        Animal("Juno"),
        "animal 'Juno', animal: the book has a stay of it (1 in all); remove that first",
    ),
]


@pytest.mark.parametrize(("record", "text"), NEEDED)
def test_what_others_need_is_not_removed(book: Book, record: Record, text: str) -> None:
    book.put(Stay("Juno", "tub", NOW))
    with pytest.raises(BadEntry) as caught:
        book.remove(record)
    assert str(caught.value) == text


def test_what_touches_does_not_overlap(book: Book) -> None:
    between = Placement("p", "shelf", Zone.ROOM, NOW - 5 * DAY, NOW - 3 * DAY)
    assert book.put(between) == "added"
    assert [p.until_ms for p in book.placements("p")] == [NOW - 5 * DAY, NOW - 3 * DAY, None]


def test_an_open_placement_ends_where_the_next_begins_and_comes_back_the_same(book: Book) -> None:
    book.put(Placement("p", "shelf", Zone.ROOM, NOW - DAY))
    cut = book.placements("p")[1]
    assert cut.until_ms == NOW - DAY
    assert book.put(cut) == "same"
    assert book.placements("p", as_written=True)[1].until_ms is None


def test_before_1970_an_open_placement_does_not_overlap(book: Book) -> None:
    book.put(Placement("old", "tub", Zone.HIDE, -10 * DAY))
    assert book.put(Placement("old", "tub", Zone.ROOM, -5 * DAY)) == "added"


def test_times_in_messages_are_in_the_homes_zone(tmp_path: Path) -> None:
    zone = ZoneInfo("Europe/Lisbon")
    with (
        Book(tmp_path / "book.db", now_ms=lambda: 0, zone=zone) as book,
        pytest.raises(BadEntry) as caught,
    ):
        book.put(Shed("Juno", DAY + 1000))
    assert str(caught.value) == (
        "shed of 'Juno' at 1970-01-02T01:00:01+01:00, time: 1970-01-02T01:00:01+01:00 is more "
        "than a day ahead of this machine's clock (1970-01-01T01:00:00+01:00); correct the time "
        "or the clock"
    )


@given(books())
def test_invented_records_break_no_rule(records: list[Record]) -> None:
    for record in records:
        assert list(objections(record, NOW)) == []
