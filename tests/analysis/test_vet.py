"""A vet's reasons as they stood with one meal: its own, those in a row with it, and weight lost.

The rules themselves are tested in test_vet_signs.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from analysis.review import review, review_all
from analysis.vet import vet_of_meal
from analysis.weights import Weight
from analysis.window import DAY_MS
from collector.book.book import Book
from collector.book.records import Animal, Dropping, Meal, Outcome, Signs, Weighing
from collector.store.reader import Reader
from config.settings import Settings, Show
from tests.analysis.lines import HOUR, T0
from tests.analysis.meals import CARE, SETTINGS, gathered, steps

WARM = steps((168, 31.0))
KEPT, BACK, REFUSED = Outcome.KEPT, Outcome.REGURGITATED, Outcome.REFUSED


def meal(number: int, outcome: Outcome | None = None, after_h: float = 100.0) -> Meal:
    """The meals of one animal, ten days apart."""
    at_ms = T0 + number * 10 * DAY_MS
    if outcome is REFUSED:
        return Meal(0, "Maren", offered_at_ms=at_ms, outcome=outcome, outcome_at_ms=at_ms)
    ended = at_ms + round(after_h * HOUR) if outcome is not None else None
    return Meal(0, "Maren", taken_at_ms=at_ms, outcome=outcome, outcome_at_ms=ended)


def said(of: Meal, **more: object) -> list[str]:
    one = gathered(WARM, meal=of, **more)  # type: ignore[arg-type]
    return [sign.says for sign in vet_of_meal(one, "warm enough", CARE, SETTINGS)]


def test_a_meal_kept_down_says_nothing_also_after_one_that_came_back() -> None:
    assert said(meal(1, KEPT), came_back_before=[meal(0, BACK)]) == []
    assert said(meal(1), came_back_before=[meal(-1, BACK), meal(0, BACK)]) == []


@pytest.mark.parametrize(
    ("hours", "verdict", "found"),
    [
        (23.9, "warm enough", False),
        (24.0, "warm enough", True),
        (72.0, "warm enough", True),
        (72.1, "warm enough", False),
        (41.0, "cool", False),
        (41.0, "too hot", False),
        (41.0, "not enough readings", False),
        (41.0, "no warm-side probe", False),
    ],
)
def test_back_after_one_to_three_days_though_warm(hours: float, verdict: str, found: bool) -> None:
    """Typical of cryptosporidiosis: Clinician's Brief."""
    one = gathered(WARM, meal=meal(0, BACK, hours))
    signs = vet_of_meal(one, verdict, CARE, SETTINGS)  # type: ignore[arg-type]
    assert len(signs) == found
    assert all(sign.basis.startswith("Clinician's Brief") for sign in signs)


@pytest.mark.parametrize(
    ("masses", "found"),
    [
        ([1000.0, 900.0], False),
        ([1000.0, 899.0], True),
        ([900.0, 1000.0], False),
        ([1000.0, 850.0, 950.0], False),
        ([1000.0], False),
        ([], False),
    ],
)
def test_more_than_a_tenth_lost(masses: list[float], found: bool) -> None:
    """More than 10 % from the peak: trade rule (from memory)."""
    weighed = [Weight(T0 + i * DAY_MS, mass, fed=False) for i, mass in enumerate(masses)]
    assert bool(said(meal(0, KEPT), masses=weighed)) is found


def test_a_meal_weighed_with_the_animal_is_no_mass_that_was_lost() -> None:
    fed = [Weight(T0, 1150.0, fed=True), Weight(T0 + 9 * DAY_MS, 1000.0, fed=False)]
    assert said(meal(0, KEPT), masses=fed) == []


def test_the_gravest_comes_first_and_each_has_its_figures() -> None:
    last = replace(meal(1, Outcome.VOMITED, 41.0), signs=Signs.BLOOD)
    masses = [Weight(T0, 1240.0, fed=False), Weight(T0 + 9 * DAY_MS, 1090.0, fed=False)]
    facts = {
        "came_back_before": [meal(0, BACK)],
        "masses": masses,
        "droppings": [Dropping("Maren", T0 + 12 * DAY_MS, signs=Signs.MUCUS)],
        "now_ms": T0 + 15 * DAY_MS,
    }
    assert said(last, **facts) == [
        "the meal was vomited: a vet at once",
        "blood in what came back: that is vomiting, a vet at once",
        "two meals in a row came back",
        "mucus in the droppings of Thu 13 Mar",
        (
            "the meal came back after 41 h although the warm side was warm enough, which is "
            "typical of an infection"
        ),
        "more than 10 % of its mass lost since Sat 1 Mar, from 1,240 g to 1,090 g",
    ]
    ounces = Settings(show=Show(mass="oz"))
    (lost,) = vet_of_meal(gathered(WARM, masses=masses), "cool", CARE, ounces)
    assert lost.says.endswith("from 43.7 oz to 38.4 oz")  # 1240 and 1090 / 28.349523125


def test_droppings_are_looked_at_as_they_stood_when_the_next_meal_was_taken() -> None:
    """However long ago the meal is: the days they count for end at the next meal."""
    found = [Dropping("Maren", T0 + 5 * DAY_MS, signs=Signs.BLOOD)]
    assert said(meal(0, KEPT), droppings=found, next_meal_ms=T0 + 10 * DAY_MS) != []
    assert said(meal(0, KEPT), droppings=found, now_ms=T0 + 500 * DAY_MS) == []


def test_a_review_says_it_among_its_reasons_and_in_json() -> None:
    last = replace(meal(1, BACK, 41.0), signs=Signs.MUCUS)
    judged = review(gathered(None, meal=last, came_back_before=[meal(0, BACK)]), CARE, SETTINGS)
    texts = judged.as_json()["vet"]
    assert texts == [
        "mucus in what came back: that is vomiting, a vet at once (common practice)",
        f"two meals in a row came back ({judged.vet[1].basis})",
    ]
    assert judged.reasons[-2:] == tuple(f"see a vet: {text}" for text in texts)
    assert review(gathered(WARM), CARE, SETTINGS).as_json()["vet"] == []


def test_in_a_book_each_sign_stands_with_its_own_meal(tmp_path: Path) -> None:
    """Two in a row with a refusal between; mass lost after the third; blood after the fourth."""
    now_ms = T0 + 60 * DAY_MS
    outcomes = [KEPT, BACK, REFUSED, BACK, KEPT, None]
    with (
        Book(tmp_path / "book.db", now_ms=lambda: now_ms) as book,
        Reader(tmp_path / "journal.db", tmp_path / "archive.db") as reader,
    ):
        book.put(Animal("Maren"))
        for number, outcome in enumerate(outcomes):
            book.put(meal(number, outcome))
        for day, mass_g in ((-1, 1000.0), (37, 880.0), (47, 990.0)):
            book.put(Weighing("Maren", T0 + day * DAY_MS, mass_g=mass_g))
        book.put(Dropping("Maren", T0 + 46 * DAY_MS, signs=Signs.BLOOD))
        reviews = review_all(book, reader, CARE, SETTINGS, now_ms)
    assert [[sign.says.split(",")[0] for sign in one.vet] for one in reviews] == [
        [],
        [],
        ["two meals in a row came back", "more than 10 % of its mass lost since Fri 28 Feb"],
        ["blood in the droppings of Wed 16 Apr"],
        [],
    ]
