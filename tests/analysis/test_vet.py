"""When to see a vet: every rule on both sides, in the order of what presses most."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.review import review
from analysis.verdict import Verdict
from analysis.vet import Vet, see_a_vet
from analysis.weights import Weight
from analysis.window import DAY_MS
from collector.book.records import Dropping, Meal, Outcome, Signs
from config.settings import Settings, Show
from tests.analysis.lines import HOUR, T0
from tests.analysis.meals import CARE, SETTINGS, gathered, steps


def meal(number: int, outcome: Outcome | None = None, after_h: float | None = 100.0) -> Meal:
    """The meals of one animal, ten days apart."""
    at_ms = T0 + number * 10 * DAY_MS
    if outcome is Outcome.REFUSED:
        return Meal(number, "Maren", offered_at_ms=at_ms, outcome=outcome, outcome_at_ms=at_ms)
    ended = at_ms + round(after_h * HOUR) if outcome is not None and after_h is not None else None
    return Meal(number, "Maren", taken_at_ms=at_ms, outcome=outcome, outcome_at_ms=ended)


def rules(*meals: Meal, **more: object) -> list[str]:
    found = see_a_vet(meals, care=CARE, settings=SETTINGS, **more)  # type: ignore[arg-type]
    return [one.rule for one in found]


KEPT, BACK, REFUSED = Outcome.KEPT, Outcome.REGURGITATED, Outcome.REFUSED


def test_nothing_to_say_of_a_book_without_meals_or_of_one_kept_down() -> None:
    assert rules() == []
    assert rules(meal(1, KEPT), verdict="warm enough") == []


@pytest.mark.parametrize(
    ("outcomes", "found"),
    [
        ([BACK], False),
        ([BACK, BACK], True),
        ([BACK, KEPT, BACK], False),
        ([BACK, None], False),
        ([BACK, BACK, KEPT], False),
        # A refusal is no meal: the two that were taken follow each other.
        ([BACK, REFUSED, BACK], True),
        ([BACK, BACK, REFUSED], True),
        ([KEPT, BACK, REFUSED, REFUSED, Outcome.VOMITED], True),
    ],
)
def test_two_in_a_row(outcomes: list[Outcome | None], found: bool) -> None:
    """Trade rule (from memory)."""
    meals = [meal(number, outcome) for number, outcome in enumerate(outcomes)]
    assert ("two in a row" in rules(*meals)) is found
    assert ("two in a row" in rules(*reversed(meals))) is found


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
        (41.0, None, False),
        (None, "warm enough", False),
    ],
)
def test_back_after_one_to_three_days_though_warm(
    hours: float | None, verdict: Verdict | None, found: bool
) -> None:
    """Typical of cryptosporidiosis: Clinician's Brief."""
    got = see_a_vet([meal(1, BACK, hours)], care=CARE, settings=SETTINGS, verdict=verdict)
    assert [one.rule for one in got] == (["came back though warm"] if found else [])
    assert all(one.basis.startswith("Clinician's Brief") for one in got)


def test_vomited_is_for_a_vet_at_once() -> None:
    """Mucus, or droppings without urate, brought up: vomiting, vet at once (common practice)."""
    assert rules(meal(1, Outcome.VOMITED)) == ["vomited"]
    assert rules(meal(1, Outcome.VOMITED), meal(2, KEPT)) == []


@pytest.mark.parametrize("signs", [Signs.MUCUS, Signs.BLOOD, Signs.BOTH])
def test_mucus_or_blood_beside_a_meal_or_in_droppings(signs: Signs) -> None:
    """Trade rule (from memory)."""
    seen = replace(meal(1, BACK), signs=signs)
    assert rules(seen) == ["mucus or blood"]
    found = see_a_vet(
        [meal(1, KEPT)],
        care=CARE,
        settings=SETTINGS,
        droppings=[Dropping("Maren", T0 + 12 * DAY_MS, signs=signs)],
    )
    assert found == (
        Vet(
            "mucus or blood",
            f"{signs.value} in the droppings of Thu 13 Mar",
            "trade rule (from memory)",
        ),
    )


def test_clean_droppings_say_nothing() -> None:
    clean = [Dropping("Maren", T0, signs=Signs.NONE), Dropping("Maren", T0)]
    assert rules(replace(meal(1, KEPT), signs=Signs.NONE), droppings=clean) == []


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
    assert ("weight lost" in rules(masses=weighed)) is found


def test_a_meal_weighed_with_the_animal_is_no_mass_that_was_lost() -> None:
    fed = [Weight(T0, 1150.0, fed=True), Weight(T0 + 9 * DAY_MS, 1000.0, fed=False)]
    assert rules(masses=fed) == []


def test_what_presses_most_comes_first_and_has_its_figures() -> None:
    first, last = meal(0, BACK), replace(meal(1, Outcome.VOMITED, 41.0), signs=Signs.BLOOD)
    masses = [Weight(T0, 1240.0, fed=False), Weight(T0 + 9 * DAY_MS, 1090.0, fed=False)]
    found = see_a_vet(
        [last, first], care=CARE, settings=SETTINGS, masses=masses, verdict="warm enough"
    )
    assert [one.why for one in found] == [
        "the meal was vomited: at once",
        "blood with the meal: at once",
        "two meals in a row came back",
        (
            "the meal came back after 41 h although the warm side was warm enough: ask about an "
            "infection"
        ),
        "more than 10 % of its mass lost since Sat 1 Mar: from 1,240 g to 1,090 g",
    ]
    ounces = see_a_vet([], care=CARE, settings=Settings(show=Show(mass="oz")), masses=masses)
    assert "from 43.7 oz to 38.4 oz" in ounces[0].why  # 1240 and 1090 / 28.349523125


def test_a_review_says_it_among_its_reasons_and_in_json() -> None:
    last = replace(meal(1, BACK, 41.0), signs=Signs.MUCUS)
    one = gathered(
        None,
        meal=last,
        before=meal(0, BACK),
        droppings=[Dropping("Maren", T0 + 11 * DAY_MS, signs=Signs.BLOOD)],
        masses=[Weight(T0, 1000.0, fed=False), Weight(T0 + 5 * DAY_MS, 800.0, fed=False)],
    )
    judged = review(one, CARE, SETTINGS)
    texts = judged.as_json()["vet"]
    assert isinstance(texts, list)
    assert [text.split(" (")[0] for text in texts] == [
        "mucus with the meal: at once",
        "blood in the droppings of Wed 12 Mar",
        "two meals in a row came back",
        "more than 10 % of its mass lost since Sat 1 Mar: from 1,000 g to 800 g",
    ]
    assert judged.reasons[-4:] == tuple(f"see a vet: {text}" for text in texts)
    assert review(gathered(steps((168, 31.0))), CARE, SETTINGS).as_json()["vet"] == []
