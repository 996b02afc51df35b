"""Doubts: what a slip looks like is questioned, what an animal does is not."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from collector.book.doubts import Around, doubts
from collector.book.records import (
    Handling,
    Meal,
    Outcome,
    Shed,
    ShedStage,
    Stay,
    Weighing,
)
from tests.collector.book.invented import DAY, HOUR, NOW

HOME = [Stay("Juno", "tub", NOW - 900 * DAY)]


def weighed(*masses: float, every_days: int = 20) -> list[Weighing]:
    """Weighings up to now, the last one `every_days` ago."""
    first = len(masses) * every_days
    return [
        Weighing("Juno", NOW - (first - n * every_days) * DAY, mass_g=mass)
        for n, mass in enumerate(masses)
    ]


def new(mass_g: float) -> Weighing:
    return Weighing("Juno", NOW, mass_g=mass_g)


def why(record: Weighing | Meal | Handling | Shed, around: Around) -> str:
    return "; ".join(doubt.why for doubt in doubts(record, around))


@given(st.floats(400, 4000), st.floats(0.7, 1.4))
def test_a_weight_like_the_last_is_no_question(last: float, ratio: float) -> None:
    assert doubts(new(last * ratio), Around(weighings=weighed(last))) == []


@given(
    st.floats(400, 4000),
    st.floats(0.9, 1.1),
    st.sampled_from(
        [(10, "nought"), (0.1, "nought"), (100, "two noughts"), (0.01, "two noughts"),
         (1000, "g for kg"), (0.001, "g for kg"), (28.35, "oz for g"), (1 / 28.35, "oz for g"),
         (1 / 453.6, "lb for g")]
    ),
)  # fmt: skip
def test_a_slip_of_the_unit_is_questioned_and_named(
    last: float, ratio: float, slip: tuple[float, str]
) -> None:
    said = why(new(last * ratio * slip[0]), Around(weighings=weighed(last)))
    assert slip[1] in said


def test_the_row_after_a_slip_is_not_questioned_too() -> None:
    around = Around(weighings=weighed(1800, 18000, 1820))
    asked = [one.at_ms for one in around.weighings if doubts(one, around)]
    assert asked == [around.weighings[1].at_ms]


def test_growth_and_time_are_no_slip() -> None:
    assert doubts(new(2800), Around(weighings=weighed(1000, every_days=200))) == []
    assert doubts(new(150), Around(weighings=weighed(70, every_days=50))) == []
    assert doubts(new(1600), Around(weighings=weighed(1000, every_days=50)))
    assert doubts(new(18000), Around(weighings=weighed(1800, every_days=400))) == []
    assert doubts(new(18000), Around()) == []


def test_a_snake_does_not_shrink() -> None:
    known = [Weighing("Juno", NOW - 30 * DAY, length_cm=180.0, midbody_mm=41.0)]
    around = Around(weighings=known)
    assert why(Weighing("Juno", NOW, length_cm=71.0), around).endswith(": in for cm?")
    assert why(Weighing("Juno", NOW, midbody_mm=1.6), around).endswith(": in for mm?")
    assert doubts(Weighing("Juno", NOW, length_cm=176.0, midbody_mm=44.0), around) == []


def meal(**more: object) -> Meal:
    return replace(Meal(0, "Juno", taken_at_ms=NOW, prey="rat", prey_mass_g=200.0), **more)  # type: ignore[arg-type]  # any field


def test_meals_in_every_way_odd() -> None:
    around = Around(stays=HOME, weighings=weighed(1800.0))
    assert doubts(meal(), around) == []
    assert "61 % of the body" in why(meal(prey_mass_g=1100.0), around)
    assert doubts(meal(prey_mass_g=1079.0), around) == []
    assert "67 % of the body" in why(meal(prey_count=6), around)
    assert "in no enclosure" in why(meal(), Around(weighings=around.weighings))
    assert "taken 13 h after" in why(meal(offered_at_ms=NOW - 13 * HOUR), around)
    assert doubts(meal(offered_at_ms=NOW - 11 * HOUR), around) == []
    late = meal(outcome=Outcome.PASSED, outcome_at_ms=NOW + 70 * DAY)
    assert "70 days after" in why(late, around)
    back = meal(outcome=Outcome.REGURGITATED, outcome_at_ms=NOW + 15 * DAY)
    assert "came back 15 days" in why(back, around)


def test_two_meals_within_a_day_but_not_a_second_try() -> None:
    around = Around(stays=HOME, meals=[meal(meal=3, taken_at_ms=NOW - 20 * HOUR)])
    assert "meal 3 was taken 20 h before" in why(meal(), around)
    refused = meal(meal=3, taken_at_ms=None, offered_at_ms=NOW - 20 * HOUR, outcome=Outcome.REFUSED)
    assert doubts(meal(), Around(stays=HOME, meals=[refused])) == []
    assert doubts(meal(meal=3), Around(stays=HOME, meals=[meal(meal=3)])) == [], "itself"


def test_a_meal_in_shed_until_the_skin_is_found() -> None:
    dull = Shed("Juno", NOW - 5 * DAY, stage=ShedStage.IN_SHED)
    assert "in shed since" in why(meal(), Around(stays=HOME, sheds=[dull]))
    found = Shed("Juno", NOW - DAY)
    assert doubts(meal(), Around(stays=HOME, sheds=[dull, found])) == []
    assert doubts(meal(), Around(stays=HOME, sheds=[replace(dull, at_ms=NOW - 15 * DAY)])) == []


def test_handling_all_day_and_two_skins() -> None:
    earlier = [Handling("Juno", NOW - 5 * HOUR, 200.0)]
    assert "within 24 h" in why(Handling("Juno", NOW, 60.0), Around(handlings=earlier))
    assert doubts(Handling("Juno", NOW, 30.0), Around(handlings=earlier)) == []
    assert doubts(Handling("Juno", NOW, 230.0), Around(handlings=[])) == []
    skin = Shed("Juno", NOW - 10 * DAY)
    assert "found on" in why(Shed("Juno", NOW), Around(sheds=[skin]))
    assert doubts(Shed("Juno", NOW), Around(sheds=[replace(skin, at_ms=NOW - 30 * DAY)])) == []
