"""Next meal, condition and pattern of a home, with a real book and real readings."""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from analysis.at_risk import Left
from analysis.compared import YesNo
from analysis.condition import conditions_of_book
from analysis.feeding import next_meals_of_book
from analysis.next_meal import NextMeal
from analysis.pattern import Judged, Pattern, pattern_of_book
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    FedIn,
    Meal,
    Outcome,
    Placement,
    Shed,
    ShedStage,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity, SeriesKey
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.settings import Settings

CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")
HOUR, DAY = 3_600_000, 86_400_000
NOW = 1_772_193_600_000  # 2026-02-27T12:00:00Z, a Friday
START = NOW - 130 * DAY
COLD = {4, 7, 9}
"""Meals after which the warm side stood at 24 °C from hour 20 to hour 40. Two came back."""


def _columns(value_at: dict[int, float], until_ms: int) -> Columns:
    at_ms = list(range(START, until_ms, 10 * 60_000))
    return Columns(
        at_ms=array("q", at_ms),
        raw=array("d", [value_at.get(at // HOUR, 31.0) for at in at_ms]),
        flags=bytearray(len(at_ms)),
        corrections=[],
    )


def _taken_ms(number: int) -> int:
    return START + number * 12 * DAY


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Book, Reader]]:
    folder: Path = tmp_path_factory.mktemp("home")
    cold = {(_taken_ms(n) + h * HOUR) // HOUR: 24.0 for n in COLD for h in range(20, 40)}
    archive = SqliteArchive(folder / "archive.db")
    try:
        for probe, values, until_ms in (
            ("warm", cold, NOW),
            ("cool", dict.fromkeys(range(START // HOUR, NOW // HOUR + 1), 25.0), NOW),
            ("other", {}, NOW - 2 * HOUR),
        ):
            key = SeriesKey(probe, Quantity.TEMPERATURE)
            archive.write({key: _columns(values, until_ms)})
    finally:
        archive.close()
    with Book(folder / "book.db", now_ms=lambda: NOW) as book:
        with book.transaction():
            for enclosure in ("left shelf", "right shelf"):
                book.put(Enclosure(enclosure))
            for animal in ("Maren", "Ombra"):
                book.put(Animal(animal, "Boa constrictor", born=date(2019, 5, 1)))
            book.put(Stay("Maren", "left shelf", START))
            book.put(Stay("Ombra", "right shelf", START))
            book.put(Placement("warm", "left shelf", Zone.WARM_SIDE, START))
            book.put(Placement("cool", "left shelf", Zone.COOL_SIDE, START))
            book.put(Placement("other", "right shelf", Zone.WARM_SIDE, START))
            for day in range(0, 130, 20):
                book.put(Weighing("Maren", START + day * DAY, 1800.0 + day / 10, None, 40.0))
            for number in range(1, 11):
                book.put(_meal(number))
            book.put(_refused(START + 5 * DAY))
        with Reader(folder / "journal.db", folder / "archive.db") as reader:
            yield book, reader


def _meal(number: int) -> Meal:
    at_ms, back = _taken_ms(number), number in (4, 7)
    return Meal(
        meal=0,  # the book numbers them, from 1
        animal="Maren",
        taken_at_ms=at_ms,
        prey="rat",
        prey_count=1,
        prey_mass_g=360.0,
        fed_in=FedIn.ENCLOSURE,
        outcome=None if number == 10 else Outcome.REGURGITATED if back else Outcome.PASSED,
        outcome_at_ms=None if number == 10 else at_ms + (45 if back else 240) * HOUR,
    )


def _refused(at_ms: int) -> Meal:
    return Meal(0, "Maren", offered_at_ms=at_ms, prey="rat", outcome=Outcome.REFUSED)


def _next(home: tuple[Book, Reader], name: str, now_ms: int = NOW) -> NextMeal:
    (found,) = next_meals_of_book(*home, CARE, SETTINGS, now_ms, animal=name)
    return found


def test_next_meal_from_the_book_and_the_probes(home: tuple[Book, Reader]) -> None:
    """The last meal, 360 g in 1,810 g (19.9 %), at 25 °C on the cool side: 9.75 days, from
    17 February noon to the 27th in the morning; and it was taken ten days ago."""
    found = _next(home, "Maren")
    assert found.last_meal == 10
    assert found.enclosure == "left shelf"
    assert {wait.rule: wait.until for wait in found.waits} == {
        "digestion": date(2026, 2, 27),
        "interval": date(2026, 2, 24),
    }
    assert found.fit.fit is True
    assert found.fit.known_hours == pytest.approx(48, abs=0.2)
    assert found.today_is_right
    assert found.portion is not None
    assert found.portion.width_mm == pytest.approx(43.2)


def test_the_cool_sides_own_readings_decide(home: tuple[Book, Reader]) -> None:
    """Two days earlier it was 82 % through: 8 of 9.75 days."""
    book, reader = home
    (found,) = next_meals_of_book(book, reader, CARE, SETTINGS, NOW - 2 * DAY, animal="Maren")
    held = {wait.rule: wait for wait in found.waits}
    assert held["digestion"].until == date(2026, 2, 28)  # the first day that begins after it
    assert held["digestion"].why == "the last meal is only 82 % digested if it lay on the cool side"


def test_a_probe_that_fell_silent_two_hours_ago(home: tuple[Book, Reader]) -> None:
    found = _next(home, "Ombra")
    assert found.fit.fit is None
    assert found.fit.reasons == ("the warm side's probe is not reporting",)
    assert found.earliest == date(2026, 2, 27)
    assert not found.today_is_right
    assert found.portion is None


def test_at_a_moment_that_is_past_nothing_later_is_known(home: tuple[Book, Reader]) -> None:
    """Meal 7 came back 45 h after it was taken. At 40 h nobody knew; the probe was heard then."""
    before = _next(home, "Maren", _taken_ms(7) + 40 * HOUR)
    assert {wait.rule for wait in before.waits} == {"digestion", "interval"}
    assert before.fit.fit is False  # the cold hours 20 to 40
    after = _next(home, "Maren", _taken_ms(7) + 50 * HOUR)
    assert {wait.rule for wait in after.waits} == {"after coming back"}
    assert after.portion is not None
    assert after.portion.halved
    early = _next(home, "Maren", _taken_ms(3))
    assert (early.last_meal, early.fit.fit) == (3, True)


def test_only_a_warm_side_that_was_warm_enough_points_to_a_vet(home: tuple[Book, Reader]) -> None:
    """Meal 7 came back after a cold night: that is a matter of the heater."""
    assert _next(home, "Maren", _taken_ms(7) + 50 * HOUR).vet == ()


@pytest.fixture
def own(home: tuple[Book, Reader], tmp_path: Path) -> Iterator[Book]:
    """A book of one's own beside the same readings."""
    with Book(tmp_path / "book.db", now_ms=lambda: NOW) as book:
        with book.transaction():
            for enclosure in ("left shelf", "right shelf"):
                book.put(Enclosure(enclosure))
            book.put(Animal("Maren", "Boa constrictor", born=date(2019, 5, 1)))
            book.put(Stay("Maren", "right shelf", START))
            book.put(Placement("warm", "left shelf", Zone.WARM_SIDE, START))
            book.put(Placement("cool", "left shelf", Zone.COOL_SIDE, START))
            book.put(Placement("other", "right shelf", Zone.WARM_SIDE, START))
            book.put(Weighing("Maren", NOW - 40 * DAY, 1800.0, None, 40.0))
        yield book


def test_in_shed_comes_from_the_book(own: Book, home: tuple[Book, Reader]) -> None:
    """In shed for 20 days: no meal; for 22: the keeper is asked; the skin found: over."""
    own.put(Shed("Maren", NOW - 20 * DAY, stage=ShedStage.IN_SHED))
    found = _next((own, home[1]), "Maren")
    assert (found.earliest, [wait.rule for wait in found.waits]) == (None, ["shed"])
    later = _next((own, home[1]), "Maren", NOW + 2 * DAY)
    assert later.earliest is not None
    assert "look whether it is over" in later.notes.ask[0]
    own.put(Shed("Maren", NOW - 19 * DAY))
    assert _next((own, home[1]), "Maren").waits == ()


def test_the_first_to_be_fed_comes_first(own: Book, home: tuple[Book, Reader]) -> None:
    own.put(Animal("Ombra"))
    own.put(Shed("Maren", NOW - 2 * DAY, stage=ShedStage.IN_SHED))
    found = next_meals_of_book(own, home[1], CARE, SETTINGS, NOW)
    assert [one.animal for one in found] == ["Ombra", "Maren"]


def test_an_animal_that_moved_digested_where_it_was(own: Book, home: tuple[Book, Reader]) -> None:
    """A meal of 450 g (25 %) six days ago on the left shelf, cool side 25 °C; three days later it
    moved to a shelf without a cool-side probe: 3 of 11.29 days at 25 °C and 3 of 12.42 at 24 °C
    are 0.507; the rest at 25 °C, the pace that is known, is 5.6 days more: 5 March 01:00."""
    own.put(Stay("Maren", "left shelf", NOW - 10 * DAY))
    own.put(Stay("Maren", "right shelf", NOW - 3 * DAY))
    own.put(Meal(0, "Maren", taken_at_ms=NOW - 6 * DAY, prey_mass_g=450.0))
    found = _next((own, home[1]), "Maren")
    held = {wait.rule: wait for wait in found.waits}
    assert "only 50 % digested" in held["digestion"].why
    assert "72 h without readings are taken as 24.0 °C or colder" in held["digestion"].why
    assert held["digestion"].until == date(2026, 3, 6)
    assert found.enclosure == "right shelf"
    assert found.fit.fit is None  # its own probe is silent; the other shelf's is not asked


def test_two_in_one_enclosure_are_fed_apart(own: Book, home: tuple[Book, Reader]) -> None:
    own.put(Animal("Tula"))
    own.put(Stay("Tula", "right shelf", NOW - DAY))
    found = next_meals_of_book(own, home[1], CARE, SETTINGS, NOW)
    assert [one.notes.mind for one in found] == [
        ("It shares right shelf with Tula: feed them apart. [common practice]",),
        ("It shares right shelf with Maren: feed them apart. [common practice]",),
    ]
    assert not _next((own, home[1]), "Maren", NOW - 2 * DAY).notes.mind


def test_an_animal_without_an_enclosure(own: Book, home: tuple[Book, Reader]) -> None:
    own.put(Animal("Tula"))
    found = _next((own, home[1]), "Tula")
    assert (found.enclosure, found.fit.fit) == (None, None)
    assert found.fit.reasons == ("the book does not say where it is",)


def test_a_second_probe_speaks_for_a_silent_one(own: Book, home: tuple[Book, Reader]) -> None:
    """The silent one was put away; the one that lies there now was placed a day ago."""
    own.put(Placement("other", "right shelf", Zone.HIDE, NOW - DAY))
    own.put(Placement("warm", "right shelf", Zone.WARM_SIDE, NOW - DAY))
    found = _next((own, home[1]), "Maren").fit
    assert (found.fit, found.reasons) == (None, ("only 23 h of the last 48 h are known",))


def test_good_temperatures_point_to_a_vet(own: Book, home: tuple[Book, Reader]) -> None:
    """Came back after 41 h, and the warm side stood at 31 °C."""
    own.put(Stay("Maren", "left shelf", NOW - 60 * DAY))
    at_ms = _taken_ms(10)
    own.put(
        Meal(
            0,
            "Maren",
            taken_at_ms=at_ms,
            prey_mass_g=180.0,
            outcome=Outcome.REGURGITATED,
            outcome_at_ms=at_ms + 41 * HOUR,
        )
    )
    (vet,) = _next((own, home[1]), "Maren").vet
    assert "typical of an infection" in vet
    (condition,) = conditions_of_book(own, CARE, SETTINGS, NOW, reader=home[1])
    assert condition.why_a_vet == (vet,)


def test_condition_of_the_book(home: tuple[Book, Reader]) -> None:
    maren, ombra = conditions_of_book(home[0], CARE, SETTINGS, NOW)
    assert maren.trend is not None
    assert maren.trend.direction == "rising"
    assert maren.mass_g == 1812.0
    assert ombra.state == "not known"


def test_pattern_of_the_book(home: tuple[Book, Reader]) -> None:
    """Nine meals with an outcome, two of three after a cold night came back after 45 h.

    Each of the two stands beside the seven that were still down after 45 h; of those eight, two
    were cold: itself and meal 9. By chance both are cold in (2 / 8)² of all deals, and no deal is
    rarer: nothing could have been shown.
    """
    found = pattern_of_book(*home, CARE, SETTINGS, NOW)
    cold = _condition(found, "longest cold spell")
    assert isinstance(cold.of, YesNo)
    assert (found.meals, found.animals, found.left.outcome_open) == (9, 1, 1)
    assert (cold.of.with_it.count, cold.of.with_it.of) == (2, 3)
    assert (cold.of.without_it.count, cold.of.without_it.of) == (0, 6)
    assert cold.p == pytest.approx((2 / 8) ** 2)
    assert cold.state == "too few to show"
    assert not found.named


def test_pattern_of_the_book_as_it_was_known(home: tuple[Book, Reader]) -> None:
    """A moment before the last outcome of all was known, and a moment before the first meal."""
    book, reader = home
    known = sorted(m.outcome_at_ms for m in book.meals() if m.outcome_at_ms is not None)
    before = pattern_of_book(book, reader, CARE, SETTINGS, known[-1] - 1)
    full = pattern_of_book(book, reader, CARE, SETTINGS, known[-1])
    assert before.meals == full.meals - known.count(known[-1])
    assert before.left.outcome_open >= 1
    first = min(m.taken_at_ms for m in book.meals() if m.taken_at_ms is not None)
    nothing = pattern_of_book(book, reader, CARE, SETTINGS, first)
    assert (nothing.meals, nothing.left) == (0, Left(0, 1))
    assert pattern_of_book(book, reader, CARE, SETTINGS, START + 5 * DAY).left == Left(0, 0)
    assert full.left.refused_or_not_taken == 1


def _condition(of: Pattern, name: str) -> Judged:
    (one,) = [one for one in of.judged if one.of.condition == name]
    return one
