"""After how many hours meals are compared, and that factors are taken as they stood then."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.at_risk import Fed, Hours, fed, hours_of
from analysis.gathering import Facts
from analysis.matching import NEAR, Key, beside, earlier, stretches
from analysis.measured import Measured
from collector.book.records import FedIn, Handling, Meal, Outcome
from tests.analysis.lines import HOUR, T0
from tests.analysis.meals import CARE, MEAL, gathered, steps

DAY = 24 * HOUR


def _meal(number: int, day: float, outcome: Outcome | None, after_h: float | None = None) -> Meal:
    at_ms = T0 + round(day * DAY)
    return Meal(
        meal=number,
        animal="Maren",
        taken_at_ms=at_ms,
        outcome=outcome,
        outcome_at_ms=at_ms + round(after_h * HOUR) if after_h is not None else None,
    )


def _hours(*meals: Meal, now_day: float = 400) -> dict[int, tuple[float | None, tuple[float, ...]]]:
    found = hours_of(Facts.of_records(meals=meals), CARE, T0 + round(now_day * DAY))
    return {number: (hours.own, hours.asked) for number, hours in found.items()}


def test_each_is_looked_at_as_long_as_those_that_came_back() -> None:
    """Two came back, after 41 and after 60 h; those that stayed down take turns."""
    assert _hours(
        _meal(1, 0, Outcome.PASSED, 200),
        _meal(2, 10, Outcome.REGURGITATED, 60),
        _meal(3, 30, Outcome.KEPT, 100),
        _meal(4, 40, Outcome.VOMITED, 41),
        _meal(5, 60, Outcome.PASSED),
    ) == {
        1: (41.0, (41.0, 60.0)),
        2: (60.0, (41.0, 60.0)),
        3: (60.0, (41.0, 60.0)),
        4: (41.0, (41.0,)),
        5: (41.0, (41.0, 60.0)),
    }


def test_a_meal_is_followed_until_the_next_one_or_now() -> None:
    found = _hours(
        _meal(1, 0, Outcome.REGURGITATED, 60),
        _meal(2, 20, Outcome.PASSED, 90),  # the next one was taken after 48 h
        _meal(3, 22, Outcome.PASSED, 90),
        _meal(4, 40, Outcome.KEPT, 20),  # fed 20 h ago
        now_day=40 + 20 / 24,
    )
    assert found[2] == (None, ())
    assert found[3] == (60.0, (60.0,))
    assert found[4] == (None, ())


def test_outcomes_that_are_not_known_are_left_out() -> None:
    refused = replace(_meal(2, 10, Outcome.REFUSED), taken_at_ms=None)
    found = _hours(_meal(1, 0, None), refused, _meal(3, 20, Outcome.REGURGITATED))
    assert found == {3: (None, ())}  # it came back, but nobody knows when
    beside_one = _hours(_meal(3, 20, Outcome.REGURGITATED), _meal(4, 40, Outcome.VOMITED, 30))
    assert beside_one == {3: (None, ()), 4: (30.0, (30.0,))}


def test_an_animal_without_such_a_meal_takes_the_hours_of_the_others() -> None:
    other = replace(_meal(2, 0, Outcome.REGURGITATED, 30), animal="Ombra")
    assert _hours(_meal(1, 0, Outcome.PASSED), other)[1] == (30.0, (30.0,))


def test_it_is_looked_at_after_its_own_hours_alone_where_none_of_its_meals_came_back() -> None:
    """Others came back after 30 and 50 h: each of its meals takes one of them, in turn."""
    others = [
        replace(_meal(n, 20 * n, Outcome.REGURGITATED, h), animal="Ombra")
        for n, h in ((3, 30), (4, 50))
    ]
    found = _hours(_meal(1, 0, Outcome.PASSED), _meal(2, 20, Outcome.PASSED), *others)
    assert (found[1], found[2]) == ((30.0, (30.0,)), (50.0, (50.0,)))


def test_factors_are_taken_as_they_stood() -> None:
    """A cold night from hour 30 to 40, handled after 44 h: neither was so after 24 h."""
    warm = steps((30, 31), (10, 24), (128, 31))
    handled = Handling("Maren", T0 + 44 * HOUR, 10.0)
    one = gathered(warm, meal=replace(MEAL, outcome=Outcome.PASSED), handlings=[handled], pct=15.0)
    hours = hours_of(Facts.of_records(meals=[one.meal]), CARE, T0 + 400 * DAY)[1]
    seen = fed(one, replace(hours, own=24.0, asked=(24.0, 41.0, 60.0)), CARE)

    def breaks(name: str) -> list[bool | None]:
        return [seen.after[h][name].breaks for h in (24.0, 41.0, 60.0)]

    assert breaks("longest cold spell") == [False, True, True]
    assert breaks("handled within 48 h") == [False, False, True]
    assert seen.after[24.0]["degree-hours below the floor"].value == 0.0
    assert seen.after[60.0]["degree-hours below the floor"].value == pytest.approx(40.0, abs=0.4)
    assert seen.own == seen.after[24.0]
    assert seen.fixed["prey share of body mass"].value == 15.0


def test_hour_for_hour() -> None:
    """Only those followed so long and not back by then stand beside a meal that came back."""
    meals = [
        _meal(1, 0, Outcome.PASSED, 200),
        _meal(2, 10, Outcome.REGURGITATED, 60),
        _meal(3, 30, Outcome.REGURGITATED, 41),
        _meal(4, 50, Outcome.PASSED, 90),
        _meal(5, 51.8, Outcome.PASSED, 90),
    ]
    hours = hours_of(Facts.of_records(meals=meals), CARE, T0 + 400 * DAY)
    book = [fed(gathered(None, meal=meal), hours[meal.meal], CARE) for meal in meals]

    def number(one: Measured | None) -> float | None:
        return 1.0 if one is not None else None

    sets = dict(beside("longest cold spell", book, number))
    assert sets == {
        # After 60 h: meal 1, itself and meal 5; meal 3 was back, meal 4 was followed for 43.2 h.
        Key("Maren", 0, 2): [(False, 1.0), (True, 1.0), (False, 1.0)],
        Key("Maren", 0, 3): [(False, 1.0), (False, 1.0), (True, 1.0), (False, 1.0), (False, 1.0)],
    }
    settled = dict(beside("fed in", book, number))
    assert settled == {Key("Maren", 0, 0): [(m.came_back, 1.0) for m in book]}


def _book(*came_back: bool, box: tuple[int, ...] = ()) -> list[Fed]:
    """One animal's meals, 12 days apart; those that came back did so after 40 h."""
    meals = [
        replace(
            _meal(i, 12 * i, Outcome.REGURGITATED if back else Outcome.PASSED, 40),
            fed_in=FedIn.BOX if i in box else FedIn.ENCLOSURE,
        )
        for i, back in enumerate(came_back)
    ]
    hours = hours_of(Facts.of_records(meals=meals), CARE, T0 + 4_000 * DAY)
    return [
        fed(gathered(None, meal=meal, before=meals[i - 1] if i else None), hours[i], CARE)
        for i, meal in enumerate(meals)
    ]


def _boxed(one: Measured | None) -> bool | None:
    return one.value == "box" if one is not None else None


def test_meals_right_after_one_that_came_back_stand_beside_each_other() -> None:
    """Back in a box at 1 and 4: the meals 2 and 5 are apart from all the others."""
    meals = _book(False, True, False, False, True, False, False, box=(1, 4))
    assert [meal.after_one_back for meal in meals] == [
        False,
        False,
        True,
        False,
        False,
        True,
        False,
    ]
    assert dict(beside("fed in", meals, _boxed)) == {
        Key("Maren", 0, 0, after_one_back=False): [
            (False, False),
            (True, True),
            (False, False),
            (True, True),
            (False, False),
        ],
        Key("Maren", 0, 0, after_one_back=True): [(False, False), (False, False)],
    }


@pytest.mark.parametrize("condition", ["fed in", "handled within 48 h"])
def test_earlier_meals_alone(condition: str) -> None:
    """Each beside those since the last one that came back, but not the first after it."""
    meals = _book(False, False, True, False, False, True, True, False)

    def number(one: Measured | None) -> float | None:
        return 1.0 if one is not None else None

    found = dict(earlier(condition, meals, number))
    assert found == {
        Key("Maren", 0, 2): [(False, 1.0), (False, 1.0), (True, 1.0)],
        Key("Maren", 0, 5): [(False, 1.0), (True, 1.0)],
        Key("Maren", 0, 6): [(True, 1.0)],
    }


def test_earlier_meals_are_near_in_time() -> None:
    meals = _book(*[False] * (NEAR + 7), True)
    ((key, together),) = earlier("fed in", meals, _boxed)
    assert (key.meal, len(together)) == (NEAR + 7, NEAR + 1)


@pytest.mark.parametrize(("meals", "lengths"), [(4, [4]), (14, [14]), (16, [8, 8]), (25, [12, 13])])
def test_stretches_are_evenly_long(meals: int, lengths: list[int]) -> None:
    hours = hours_of(Facts.of_records(meals=[MEAL]), CARE, T0)
    assert hours == {}
    own = [
        fed(gathered(None, meal=_meal(i, i, Outcome.PASSED)), _nothing_asked(), CARE)
        for i in range(meals)
    ]
    found = stretches(own)
    assert [len(part) for part in found.values()] == lengths
    assert [meal for part in found.values() for meal in part] == own
    assert max(lengths) < 2 * NEAR


def _nothing_asked() -> Hours:
    return Hours(None, ())
