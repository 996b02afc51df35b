"""Every rule of the next meal, worked by hand from the numbers of the trade."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.condition import condition
from analysis.exposure import Line, line_of
from analysis.fit_today import Fit, fit_today
from analysis.in_shed import InShed
from analysis.next_meal import NextMeal, next_meal
from analysis.next_words import sentences
from analysis.portion import Portion
from analysis.through import Digesting, Through, through_at
from analysis.verdict import Verdict
from collector.book.records import (
    Animal,
    Dropping,
    Look,
    Meal,
    Outcome,
    Ribs,
    Signs,
    Spine,
    Tail,
    Vent,
    Weighing,
)
from config.care import load_care_profile
from config.settings import Settings

CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")
LISBON = ZoneInfo("Europe/Lisbon")
HOUR, DAY = 3_600_000, 86_400_000
GROWN = Animal("Maren", "Boa constrictor", born=date(2019, 5, 1))
RIGHT = Fit(True, (), 48.0, 0.0, 0.0)
SHEDDING = InShed(1_772_000_000_000, ask=False)


def ms(text: str) -> int:
    """A local time of Lisbon in ms UTC."""
    return round(datetime.fromisoformat(text).replace(tzinfo=LISBON).timestamp() * 1000)


NOW = ms("2026-02-27 12:00")  # a Friday


def taken(
    at: str,
    outcome: Outcome | None = Outcome.PASSED,
    after_h: float = 200.0,
    *,
    number: int = 1,
    mass_g: float | None = 180.0,
) -> Meal:
    at_ms = ms(at)
    return Meal(
        meal=number,
        animal="Maren",
        taken_at_ms=at_ms,
        prey="rat",
        prey_count=1,
        prey_mass_g=mass_g,
        outcome=outcome,
        outcome_at_ms=at_ms + round(after_h * HOUR) if outcome is not None else None,
    )


def weighed(at: str, mass_g: float | None = 1800.0, midbody_mm: float | None = 40.0) -> Weighing:
    return Weighing("Maren", ms(at), mass_g, None, midbody_mm)


def find(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing] = (),
    *,
    now_ms: int = NOW,
    animal: Animal = GROWN,
    digesting: Sequence[Digesting] | None = None,
    fit: Fit = RIGHT,
    shed: InShed | None = None,
    looks: Sequence[Look] = (),
    droppings: Sequence[Dropping] = (),
    verdict: Verdict | None = None,
    shares_with: Sequence[str] = (),
) -> NextMeal:
    state = condition(
        animal,
        meals,
        weighings,
        CARE,
        SETTINGS,
        now_ms,
        looks=looks,
        droppings=droppings,
        verdict=verdict,
    )
    return next_meal(
        state,
        meals,
        weighings,
        fit=fit,
        care=CARE,
        settings=SETTINGS,
        digesting=digesting,
        enclosure="left shelf",
        shed=shed,
        shares_with=shares_with,
    )


def rules(of: NextMeal) -> dict[str, date | None]:
    return {wait.rule: wait.until for wait in of.waits}


def flat(value_c: float, since: str, until_ms: int = NOW) -> Line:
    """A line that stands at one temperature."""
    return line_of([ms(since), until_ms], [value_c, value_c], 1e12)


class TestInterval:
    def test_from_six_months_seven_to_ten_days(self) -> None:
        """Fed on Monday 23 February: from Monday 2 March, by Thursday 5 March."""
        found = find([taken("2026-02-23 20:00", after_h=80)])
        assert rules(found) == {"interval": date(2026, 3, 2)}
        assert found.earliest == date(2026, 3, 2)
        assert found.due == date(2026, 3, 5)
        assert not found.today_is_right

    def test_under_six_months_ten_to_fourteen_days(self) -> None:
        found = find(
            [taken("2026-02-23 20:00", after_h=80)], animal=Animal("Maren", born=date(2025, 10, 1))
        )
        assert found.earliest == date(2026, 3, 5)
        assert found.due == date(2026, 3, 9)

    def test_six_months_to_the_day(self) -> None:
        """Born on 27 August: six months old on 27 February."""
        found = find(
            [taken("2026-02-23 20:00", after_h=80)], animal=Animal("Maren", born=date(2025, 8, 27))
        )
        younger = find(
            [taken("2026-02-23 20:00", after_h=80)], animal=Animal("Maren", born=date(2025, 8, 28))
        )
        assert found.earliest == date(2026, 3, 2)
        assert younger.earliest == date(2026, 3, 5)

    def test_an_unknown_age_waits_the_longer(self) -> None:
        found = find([taken("2026-02-23 20:00", after_h=80)], animal=Animal("Maren"))
        assert found.earliest == date(2026, 3, 5)
        assert "age not known, so the longer ones" in found.waits[0].why

    def test_a_heavy_animal_waits_to_the_end_of_it(self) -> None:
        """Six years old and 61 % of its mass fed a month: 52 % is the most that is usual."""
        meals = [
            taken(f"2026-{m:02d}-{d:02d} 20:00", number=10 * m + d, mass_g=400.0)
            for m in (1, 2)
            for d in (2, 9, 16, 23)
        ]
        weighings = [weighed("2025-11-30 12:00")]
        found = find(meals, weighings)
        assert found.state == "heavy"
        assert rules(found)["interval"] == date(2026, 3, 5)
        assert found.due == date(2026, 3, 8)  # as many days later as it begins later
        assert found.portion is not None
        assert found.portion.rather == "smaller"

    def test_a_thin_animal_does_not_wait_less_but_eats_more(self) -> None:
        """Spine sharp, ribs seen: still seven days, and the larger end of the window."""
        look = Look("Maren", ms("2026-02-26 12:00"), Spine.SHARP, Ribs.SEEN)
        meals = [taken("2026-02-23 20:00", after_h=80)]
        found = find(meals, [weighed("2026-02-01 12:00")], looks=[look])
        assert found.state == "thin"
        assert rules(found)["interval"] == date(2026, 3, 2)
        assert found.portion is not None
        assert found.portion.rather == "larger"

    def test_a_heavy_look_waits_to_the_end_of_the_interval_too(self) -> None:
        look = Look("Maren", ms("2026-02-26 12:00"), tail=Tail.THICK, vent=Vent.BULGING)
        found = find([taken("2026-02-23 20:00", after_h=80)], looks=[look])
        assert found.earliest == date(2026, 3, 5)

    def test_days_are_the_homes_own_across_the_change_of_the_clocks(self) -> None:
        """Fed late on Monday 23 March; Lisbon loses an hour on Sunday 29."""
        meals = [taken("2026-03-23 23:30", after_h=80)]
        assert find(meals, now_ms=ms("2026-03-28 12:00")).earliest == date(2026, 3, 30)

    def test_what_is_over_holds_nothing_back(self) -> None:
        found = find([taken("2026-02-18 20:00")])
        assert found.earliest == date(2026, 2, 27)
        assert found.due == date(2026, 2, 28)
        assert found.holding == ()
        assert found.today_is_right

    def test_refusals_are_no_meals(self) -> None:
        refused = Meal(9, "Maren", offered_at_ms=ms("2026-02-26 20:00"), outcome=Outcome.REFUSED)
        assert find([taken("2026-02-18 20:00"), refused]).earliest == date(2026, 2, 27)

    def test_no_meal_yet(self) -> None:
        found = find([])
        assert (found.earliest, found.due, found.last_meal) == (date(2026, 2, 27), None, None)


def through(
    pct: float | None,
    cool: Line | None,
    since: str = "2026-02-25 12:00",
    *,
    warm: Line | None = None,
    factor: float = 1.0,
) -> tuple[float, Through]:
    """Days from the meal until it is through, and the whole answer."""
    at_ms = ms(since)
    found = through_at(Digesting(at_ms, pct, cool, warm, factor), CARE, NOW)
    return (found.at_ms - at_ms) / DAY, found


class TestDigestion:
    @pytest.mark.parametrize(
        ("pct", "cool_c", "days"),
        # D in days at 20, 25 and 28 °C: the model's table, worked from Ott & Secor 2007,
        # the exponent 0.64 and Q10 2.6 (± 0.02).
        [
            (5.0, 20.0, 6.50),
            (5.0, 25.0, 4.03),
            (5.0, 28.0, 3.03),
            (10.0, 20.0, 10.12),
            (10.0, 25.0, 6.28),
            (10.0, 28.0, 4.71),
            (25.0, 20.0, 18.20),
            (25.0, 25.0, 11.29),
            (25.0, 28.0, 8.47),
        ],
    )
    def test_through_at_the_cool_sides_pace(self, pct: float, cool_c: float, days: float) -> None:
        """A 25 % meal on the cool side at 25 °C: 11.29 days; two of them are 18 % of it."""
        found, of = through(pct, flat(cool_c, "2026-02-25 12:00"))
        assert found == pytest.approx(days, abs=0.02)
        assert of.share == pytest.approx(2 / days, abs=0.002)
        assert of.assumed_hours == 0

    def test_the_cool_side_and_not_the_warm_one(self) -> None:
        """31 °C beside 25 °C: D(25 %, 31 °C) would be 6.36 days; 11.29 count."""
        warm = flat(31.0, "2026-02-25 12:00")
        days, _ = through(25.0, flat(25.0, "2026-02-25 12:00"), warm=warm)
        assert days == pytest.approx(11.29, abs=0.02)

    def test_once_through_the_moment_itself_is_told(self) -> None:
        """5 % at 28 °C, six days ago: it was through after 3.03 of them."""
        days, of = through(5.0, flat(28.0, "2026-02-21 12:00"), "2026-02-21 12:00")
        assert days == pytest.approx(3.03, abs=0.02)
        assert of.share > 1
        # What comes after it, cold or unknown, does not move it.
        since = ms("2026-02-21 12:00")
        at_ms = [since, since + 4 * DAY, since + 4 * DAY + 1, NOW - HOUR]
        cold = line_of(at_ms, [28.0, 28.0, 20.0, 20.0], 1e12)
        days, of = through(5.0, cold, "2026-02-21 12:00")
        assert days == pytest.approx(3.03, abs=0.02)
        assert of.assumed_hours == pytest.approx(1.0)

    @given(st.floats(1.0, 50.0), st.floats(18.0, 34.0), st.floats(0.0, 8.0), st.floats(0.5, 48.0))
    def test_a_colder_cool_side_never_makes_it_sooner(
        self, pct: float, cool_c: float, less_c: float, known_h: float
    ) -> None:
        until_ms = ms("2026-02-25 12:00") + round(known_h * HOUR)
        sooner, later = (
            through(pct, flat(value_c, "2026-02-25 12:00", until_ms))[0]
            for value_c in (cool_c, cool_c - less_c)
        )
        assert later >= sooner - 1e-6

    def test_a_day_of_swing_lengthens_it(self) -> None:
        """8 K of swing: a quarter longer, 6.28 × 1.25 = 7.85 days."""
        days, _ = through(10.0, flat(25.0, "2026-02-25 12:00"), factor=1.25)
        assert days == pytest.approx(7.85, abs=0.03)

    def test_without_a_probe_the_low_end_of_the_cool_side_is_taken(self) -> None:
        """24 °C: D(10 %) = 3.89 × 2.6^0.6 = 6.90 days."""
        days, of = through(10.0, None)
        assert days == pytest.approx(6.90, abs=0.02)
        assert of.assumed_hours == pytest.approx(48.0)

    def test_without_a_probe_a_warm_side_that_was_colder_still_is_taken(self) -> None:
        """A dead heater, 20 °C on the warm side for two days: D(10 %) = 10.12 days, not 6.90."""
        days, _ = through(10.0, None, warm=flat(20.0, "2026-02-25 12:00"))
        assert days == pytest.approx(10.12, abs=0.02)
        warmer, _ = through(10.0, None, warm=flat(31.0, "2026-02-25 12:00"))
        assert warmer == pytest.approx(6.90, abs=0.02)

    def test_a_gap_counts_as_the_low_end_and_the_pace_goes_on(self) -> None:
        """25 °C for 30 of 48 h: 30 h of 6.28 days and 18 h of 6.90, then on at 25 °C."""
        at_ms = ms("2026-02-25 12:00")
        _, of = through(10.0, flat(25.0, "2026-02-25 12:00", at_ms + 30 * HOUR))
        share = 30 / 24 / 6.28 + 18 / 24 / 6.90
        assert of.share == pytest.approx(share, abs=0.002)
        assert (of.at_ms - NOW) / DAY == pytest.approx((1 - share) * 6.28, abs=0.03)

    def test_it_holds_a_large_meal_back_longer_than_the_interval(self) -> None:
        """450 g in 1,800 g, 25 %, at 25 °C: 11.29 days, from Friday 20 February noon to Tuesday
        3 March at 18:58. The first day after that is Wednesday the 4th. 7 of 11.29 are 62 %."""
        meals = [taken("2026-02-20 12:00", Outcome.KEPT, 100, mass_g=450.0)]
        line = flat(25.0, "2026-02-20 12:00")
        found = find(
            meals,
            [weighed("2026-02-01 12:00")],
            digesting=[Digesting(ms("2026-02-20 12:00"), 25.0, line)],
        )
        assert rules(found) == {"digestion": date(2026, 3, 4), "interval": date(2026, 2, 27)}
        assert found.earliest == date(2026, 3, 4)
        assert [wait.rule for wait in found.holding] == ["digestion"]
        assert found.waits[0].why == (
            "the last meal is only 62 % digested if it lay on the cool side"
        )
        assert found.due == date(2026, 3, 4)  # the interval's end is before it

    def test_not_on_the_day_itself_before_it_is_through(self) -> None:
        """The same on that Tuesday: at noon not yet, at 19:00 it may be."""
        meals = [taken("2026-02-20 12:00", Outcome.KEPT, 100, mass_g=450.0)]
        for at, first in (("12:00", date(2026, 3, 4)), ("19:00", date(2026, 3, 3))):
            now_ms = ms(f"2026-03-03 {at}")
            line = flat(25.0, "2026-02-20 12:00", now_ms)
            digesting = [Digesting(ms("2026-02-20 12:00"), 25.0, line)]
            found = find(meals, [weighed("2026-02-18 12:00")], now_ms=now_ms, digesting=digesting)
            assert found.earliest == first

    def test_an_unknown_size_is_the_models_reference_meal_and_is_said(self) -> None:
        """25 %: at 24 °C 7.00 × 2.6^0.6 = 12.42 days, from 22 February noon to 6 March 22:04."""
        unknown, quarter = (through(pct, flat(25.0, "2026-02-25 12:00"))[1] for pct in (None, 25.0))
        assert unknown == quarter
        meals = [taken("2026-02-22 12:00", None, mass_g=None)]
        found = find(meals, [weighed("2026-02-01 12:00")])
        assert rules(found)["digestion"] == date(2026, 3, 7)
        assert "its size is not known and taken as 25 % of the body" in found.waits[0].why

    def test_an_earlier_and_larger_meal_may_be_through_later(self) -> None:
        """450 g (25 %) on 17 February and 90 g (5 %) on the 22nd, at 24 °C: 12.42 days from the
        first end on 1 March at 22:05, D(5 %) = 4.43 days from the second on the 26th."""
        meals = [
            taken("2026-02-17 12:00", None, number=1, mass_g=450.0),
            taken("2026-02-22 12:00", None, number=2, mass_g=90.0),
        ]
        found = find(meals, [weighed("2026-02-01 12:00")])
        held = {wait.rule: wait for wait in found.waits}
        assert held["digestion"].until == date(2026, 3, 2)
        assert "the meal of Tue 17 Feb" in held["digestion"].why

    def test_two_items_of_one_evening_are_one_meal(self) -> None:
        """Twice 180 g in 1,800 g, 20 % together: D at 24 °C = 7.00 × 0.8^0.64 × 2.6^0.6 = 10.77
        days from 22 February, 13:00, to 5 March; 10 % alone would be through on 1 March."""
        meals = [
            taken("2026-02-22 12:00", None, number=1),
            taken("2026-02-22 13:00", None, number=2),
        ]
        found = find(meals, [weighed("2026-02-01 12:00")])
        assert rules(found)["digestion"] == date(2026, 3, 6)

    def test_what_was_passed_is_through_and_so_is_what_came_before_it(self) -> None:
        meals = [
            taken("2026-02-16 12:00", None, number=1, mass_g=450.0),
            taken("2026-02-20 12:00", Outcome.PASSED, 100, number=2, mass_g=450.0),
        ]
        assert "digestion" not in rules(find(meals, [weighed("2026-02-01 12:00")]))

    def test_without_a_line_the_book_gives_the_size(self) -> None:
        """180 g in 1,800 g at 24 °C: 6.90 days from Sunday 22 February noon, to 1 March 09:36."""
        found = find([taken("2026-02-22 12:00", None)], [weighed("2026-02-01 12:00")])
        assert rules(found)["digestion"] == date(2026, 3, 2)


class TestAfterComingBack:
    def test_fourteen_days_then_half_the_size(self) -> None:
        """Came back on 22 February: from 8 March, 72 to 90 g for 1,800 g (8-12 %, halved; and no
        more than half of the 180 g that came back)."""
        meals = [taken("2026-02-20 20:00", Outcome.REGURGITATED, 41)]
        found = find(meals, [weighed("2026-02-18 12:00")])
        assert rules(found) == {"after coming back": date(2026, 3, 8)}
        assert found.earliest == date(2026, 3, 8)
        assert found.due is None
        assert found.portion is not None
        assert found.portion.halved
        assert (found.portion.low_g, found.portion.high_g) == pytest.approx((72.0, 90.0))

    def test_a_larger_one_that_came_back_halves_the_usual(self) -> None:
        meals = [taken("2026-02-20 20:00", Outcome.REGURGITATED, 41, mass_g=700.0)]
        portion = find(meals, [weighed("2026-02-18 12:00")]).portion
        assert portion is not None
        assert (portion.low_g, portion.high_g) == pytest.approx((72.0, 108.0))

    def test_one_kept_down_and_it_is_over(self) -> None:
        meals = [
            taken("2026-01-20 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-02-10 20:00", Outcome.PASSED, number=2, mass_g=90.0),
        ]
        found = find(meals, [weighed("2026-02-08 12:00")])
        assert rules(found) == {"interval": date(2026, 2, 17)}
        assert found.portion is not None
        assert not found.portion.halved

    def test_two_in_a_row_are_for_a_vet(self) -> None:
        meals = [
            taken("2026-01-20 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-02-10 20:00", Outcome.REGURGITATED, 30, number=2),
        ]
        found = find(meals)
        assert found.earliest is None
        assert found.not_before == date(2026, 2, 27)
        assert [wait.rule for wait in found.waits] == ["vet", "after coming back"]
        assert found.vet == ("two meals in a row came back",)
        assert not found.today_is_right

    def test_two_that_are_not_in_a_row_are_not(self) -> None:
        meals = [
            taken("2026-01-01 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-01-20 20:00", Outcome.PASSED, number=2),
            taken("2026-02-05 20:00", Outcome.REGURGITATED, 30, number=3),
        ]
        assert find(meals).earliest == date(2026, 2, 27)

    def test_two_in_a_row_long_ago_are_over_with_one_kept_down(self) -> None:
        meals = [
            taken("2025-11-01 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2025-11-20 20:00", Outcome.REGURGITATED, 41, number=2),
            taken("2025-12-20 20:00", Outcome.PASSED, number=3),
            taken("2026-01-05 20:00", Outcome.PASSED, number=4),
        ]
        assert find(meals).earliest == date(2026, 2, 27)
        assert find(meals[:2]).earliest is None

    def test_vomited_is_for_a_vet_at_once(self) -> None:
        found = find([taken("2026-02-20 20:00", Outcome.VOMITED, 41)])
        assert found.earliest is None
        assert found.vet == ("the last meal was vomited: a vet at once",)

    def test_an_unknown_hour_counts_from_the_latest_it_can_have_been(self) -> None:
        """180 g in 1,800 g: D(10 %, 30 °C) = 3.89 days from the 20th, 20:00, to the 24th; 14 days
        from there. Of unknown size seven days, the 27th; and never later than now."""
        back = replace(taken("2026-02-20 20:00", Outcome.REGURGITATED), outcome_at_ms=None)
        found = find([back], [weighed("2026-02-01 12:00")])
        assert found.earliest == date(2026, 3, 10)
        assert "Tue 24 Feb at the latest" in found.waits[0].why
        assert find([back]).earliest == date(2026, 3, 13)

    def test_until_one_is_known_to_have_stayed_down(self) -> None:
        """The half-size meal after it is still open: the next one is half the size as well."""
        meals = [
            taken("2026-02-01 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-02-20 20:00", None, number=2, mass_g=90.0),
        ]
        found = find(meals, [weighed("2026-01-30 12:00")])
        assert found.portion is not None
        assert found.portion.halved
        kept = find([meals[0], replace(meals[1], outcome=Outcome.KEPT)])
        assert kept.at_most_g is None

    def test_half_of_it_is_known_even_where_the_body_is_not(self) -> None:
        found = find([taken("2026-02-20 20:00", Outcome.REGURGITATED, 41)])
        assert found.portion is None
        assert found.at_most_g == 90.0

    def test_good_temperatures_and_one_to_three_days_are_for_a_vet_too(self) -> None:
        """After 41 h with a warm side that was warm enough (Clinician's Brief: typical of
        cryptosporidiosis): 14 days as ever, and a vet beside it. Cool, or after 80 h: no vet."""
        back = [taken("2026-02-20 20:00", Outcome.REGURGITATED, 41)]
        found = find(back, verdict="warm enough")
        assert found.earliest == date(2026, 3, 8)
        assert "after 41 h although the warm side was warm enough" in found.vet[0]
        assert find(back, verdict="cool").vet == ()
        late = [taken("2026-02-20 20:00", Outcome.REGURGITATED, 80)]
        assert find(late, verdict="warm enough").vet == ()

    def test_blood_in_the_droppings_is_for_a_vet_before_the_next_meal(self) -> None:
        dropped = Dropping("Maren", ms("2026-02-26 12:00"), signs=Signs.BLOOD)
        found = find([taken("2026-02-10 20:00")], droppings=[dropped])
        assert found.earliest is None
        assert found.vet == ("blood in the droppings of Thu 26 Feb",)


class TestOtherRules:
    def test_no_meal_in_shed(self) -> None:
        found = find([taken("2026-02-18 20:00")], shed=SHEDDING)
        assert rules(found) == {"shed": None, "interval": date(2026, 2, 25)}
        assert found.earliest is None
        assert not found.vet

    def test_more_than_ten_percent_lost_is_for_a_vet_but_not_for_fasting(self) -> None:
        weighings = [weighed("2025-12-01 12:00", 2000.0), weighed("2026-02-26 12:00", 1790.0)]
        found = find([taken("2026-02-10 20:00")], weighings)
        assert found.earliest == date(2026, 2, 27)
        assert len(found.vet) == 1
        assert found.vet == ("more than 10 % lost from its peak",)

    def test_meals_to_come_do_not_count(self) -> None:
        meals = [taken("2026-02-18 20:00"), taken("2026-03-20 20:00", None, number=2)]
        assert find(meals).last_meal == 1


class TestPortion:
    def _of(self, mass_g: float, midbody_mm: float | None = 40.0) -> Portion:
        found = find([], [weighed("2026-02-20 12:00", mass_g, midbody_mm)]).portion
        assert found is not None
        return found

    def test_by_hand(self) -> None:
        """2,500 g: 8-12 % are 200-300 g, an adult rat of 1.6 kcal/g; 40 + 3.2 mm wide at most."""
        found = self._of(2500.0)
        assert (found.low_g, found.high_g) == (200.0, 300.0)
        assert found.kind == "adult rat"
        assert (found.low_kcal, found.high_kcal) == pytest.approx((320.0, 480.0))
        assert found.width_mm == pytest.approx(43.2)
        assert all("table 71-5" in one for one in found.energy_basis)

    def test_young(self) -> None:
        """100 g: 8-12 g, a young mouse."""
        assert self._of(100.0).kind == "young mouse"

    def test_unknown_energy_stays_unknown(self) -> None:
        """9,000 g: 720-1,080 g, a young rabbit, which is not in the table."""
        found = self._of(9000.0)
        assert (found.kind, found.low_kcal) == ("young rabbit", None)

    def test_nothing_weighs_that(self) -> None:
        assert self._of(60_000.0).kind is None

    def test_no_width_without_a_measure(self) -> None:
        assert self._of(1800.0, None).width_mm is None

    def test_ninety_days_without_a_weighing_are_too_long(self) -> None:
        assert find([], [weighed("2025-11-29 11:59")]).portion is None
        assert find([], [weighed("2025-11-29 12:00")]).portion is not None

    def test_a_meal_inside_is_not_body_mass(self) -> None:
        """Weighed the day after a rat of 180 g: the weighing before counts."""
        weighings = [weighed("2026-02-10 12:00", 1800.0), weighed("2026-02-21 12:00", 1980.0)]
        portion = find([taken("2026-02-20 12:00")], weighings).portion
        assert portion is not None
        assert portion.body_g == 1800.0

    def test_a_full_animal_that_weighs_less_than_it_did_empty_weighs_that_at_most(self) -> None:
        weighings = [weighed("2026-02-10 12:00", 1800.0), weighed("2026-02-21 12:00", 1700.0)]
        portion = find([taken("2026-02-20 12:00")], weighings).portion
        assert portion is not None
        assert portion.body_g == 1700.0

    def test_two_kinds_where_the_window_lies_across_both(self) -> None:
        """2,040 g: 163.2-244.8 g; a young rat up to 200 g is 45 % of it, an adult one 55 %."""
        found = self._of(2040.0)
        assert (found.kind, found.kinds) == ("adult rat", ("young rat", "adult rat"))
        assert (found.low_kcal, found.high_kcal) == pytest.approx((163.2 * 1.6, 244.8 * 1.6))
        # 1,750 g: 140-210 g, of which an adult rat is 14 %: too little to name it.
        assert self._of(1750.0).kinds == ("young rat",)

    def test_the_bounds_by_hand(self) -> None:
        """8 and 12 % of 1,530 g are 122.4 and 183.6 g; 3.2 mm over 53 mm are 56.2 mm."""
        found = self._of(1530.0, 53.0)
        assert (found.low_g, found.high_g) == pytest.approx((122.4, 183.6))
        assert found.width_mm == pytest.approx(56.2)
        assert found.rather is None


class TestFitToday:
    def _of(self, *parts: tuple[float, float], heard_min: float = 2.0) -> Fit:
        """(hours, °C) one after the other, ending now."""
        start_ms = NOW - sum(hours for hours, _ in parts) * HOUR
        at_ms, values = [start_ms], [parts[0][1]]
        for hours, value_c in parts:
            at_ms += [at_ms[-1] + 1, at_ms[-1] + hours * HOUR]
            values += [value_c, value_c]
        return fit_today(
            line_of(at_ms, values, 1e12), NOW - round(heard_min * 60_000), CARE, SETTINGS, NOW
        )

    def test_steady_and_reporting(self) -> None:
        found = self._of((72, 31.0))
        assert found.fit is True
        assert found.reasons == ()
        assert found.known_hours == pytest.approx(48.0)

    def test_an_hour_off_is_an_opened_door_and_more_is_not(self) -> None:
        assert self._of((24, 31.0), (0.9, 26.0), (24, 31.0)).fit is True
        cold = self._of((20, 31.0), (5.5, 26.0), (24, 31.0))
        assert cold.fit is False
        assert cold.reasons == ("below 28.0 °C for 5 h of the last 48 h",)
        hot = self._of((20, 31.0), (2.5, 38.0), (26, 31.0))
        assert hot.reasons == ("above 36.0 °C for 2 h of the last 48 h",)

    def test_what_is_longer_ago_is_past(self) -> None:
        assert self._of((10, 20.0), (48, 31.0)).fit is True

    def test_a_silent_probe_says_nothing(self) -> None:
        """Ten minutes without a reading are an alarm, and no ground to feed on."""
        assert self._of((72, 31.0), heard_min=10).fit is True
        silent = self._of((72, 31.0), heard_min=10.1)
        assert silent.fit is None
        assert silent.reasons == ("the warm side's probe is not reporting",)

    def test_too_little_known(self) -> None:
        assert self._of((43.3, 31.0)).fit is True  # 90 % of 48 h are 43.2 h
        assert self._of((43.0, 31.0)).fit is None
        assert self._of((20, 31.0), (3, 25.0)).fit is False  # wrong is wrong

    def test_no_probe(self) -> None:
        assert fit_today(None, None, CARE, SETTINGS, NOW).fit is None

    def test_two_probes_that_disagree_say_nothing(self) -> None:
        """26 and 34 °C have a good mean."""
        line = flat(30.0, "2026-02-20 12:00")
        found = fit_today(line, NOW, CARE, SETTINGS, NOW, probes_apart_hours=3.0)
        assert (found.fit, found.reasons) == (None, ("its probes are more than 2.0 °C apart",))
        assert fit_today(line, NOW, CARE, SETTINGS, NOW, probes_apart_hours=0.9).fit is True

    def test_fahrenheit(self) -> None:
        settings = Settings.model_validate({"show": {"temperature": "degF"}})
        line = flat(26.0, "2026-02-20 12:00")
        assert fit_today(line, NOW, CARE, settings, NOW).reasons[0].startswith("below 82.4 °F for")

    def test_it_decides_about_today(self) -> None:
        meals = [taken("2026-02-18 20:00")]
        assert find(meals).today_is_right
        assert not find(meals, fit=Fit(None, ("x",), 0, 0, 0)).today_is_right
        assert not find(meals, fit=Fit(False, ("x",), 48, 5, 0)).today_is_right


class TestWordsAndJson:
    def _first(self, of: NextMeal, settings: Settings = SETTINGS) -> str:
        return sentences(of, settings)[0]

    def _text(self, of: NextMeal, settings: Settings = SETTINGS) -> str:
        return " ".join(sentences(of, settings))

    def test_waiting(self) -> None:
        """1,800 g: 144-216 g, which an adult rat, from 200 g, is 22 % of. 40 + 3.2 mm."""
        found = find([taken("2026-02-23 20:00", after_h=80)], [weighed("2026-02-20 12:00")])
        assert sentences(found, SETTINGS) == [
            (
                "Maren: not before Mon 2 Mar (7 to 10 days between meals, 6 years old), then a "
                "young or adult rat of 145–215 g, at most 43 mm wide; enclosure fit today: yes."
            ),
            "from Mon 2 Mar: 7 to 10 days between meals, 6 years old. [common practice]",
            (
                "Size for 1,800 g, weighed on Fri 20 Feb. "
                "[a published trade chart for young boas; common practice]"
            ),
            (
                "Energy: about 230 to 350 kcal as fed. "
                "[Small Animal Clinical Nutrition, 5th ed., table 71-5 (derived); Small Animal "
                "Clinical Nutrition, 5th ed., table 71-5]"
            ),
        ]

    def test_today_due_and_overdue(self) -> None:
        assert "a meal may be given today, by Sat 28 Feb at the latest: " in self._first(
            find([taken("2026-02-18 20:00")])
        )
        overdue = find([taken("2026-02-10 20:00")])
        assert "a meal is due since Fri 20 Feb: " in self._first(overdue)
        assert "nothing speaks against one today" in self._first(find([]))
        assert "not before Sun 3 Jan 2027" in self._first(
            find([taken("2026-12-27 20:00")], now_ms=ms("2026-12-28 12:00"))
        )

    def test_not_fit_today_is_not_today(self) -> None:
        cold = Fit(False, ("below 28.0 °C for 5 h of the last 48 h",), 48, 5, 0)
        assert self._first(find([taken("2026-02-10 20:00")], fit=cold)).startswith(
            "Maren: no meal today, the enclosure is not fit; once it is: "
        )

    def test_vet_shed_and_half(self) -> None:
        twice = [
            taken("2026-01-20 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-02-20 20:00", Outcome.REGURGITATED, 30, number=2),
        ]
        text = self._text(find(twice, [weighed("2026-02-20 12:00")]))
        assert text.startswith(
            "Maren: no meal before a vet has seen it (two meals in a row came back), and not "
            "before Sun 8 Mar, then "
        )
        assert "half the usual size" in text
        assert "not veterinary advice" in text
        assert "in shed, no meal until the skin is off" in self._first(find([], shed=SHEDDING))

    def test_a_vet_is_said_first_where_it_does_not_hold_the_meal_back(self) -> None:
        weighings = [weighed("2025-12-01 12:00", 2000.0), weighed("2026-02-26 12:00", 1790.0)]
        found = find([taken("2026-02-10 20:00")], weighings)
        assert self._first(found).startswith(
            "Maren: see a vet (more than 10 % lost from its peak); a meal is due since Fri 20 Feb"
        )

    def test_unknown_is_said(self) -> None:
        text = self._text(find([], fit=Fit(None, ("no probe on the warm side",), 0, 0, 0)))
        assert "how much is not known (weigh it first: no weighing in the last 90 days)" in text
        assert "fit today: not known (no probe on the warm side), look for yourself." in text
        no_width = self._text(find([], [weighed("2026-02-20 12:00", 1800.0, None)]))
        assert "How wide the prey may be is not known" in no_width
        back = find([taken("2026-02-20 20:00", Outcome.REGURGITATED, 41)])
        assert "no more than 90 g (weigh it first" in self._first(back)
        huge = find([], [weighed("2026-02-20 12:00", 60_000.0)])
        assert "one item (no kind in the prey table weighs that) of 4,800–7,200 g" in self._first(
            huge
        )

    def test_what_to_ask_and_to_mind(self) -> None:
        refused = [
            Meal(n, "Maren", offered_at_ms=ms(f"2026-02-2{n} 20:00"), outcome=Outcome.REFUSED)
            for n in (1, 2)
        ]
        offer = Meal(5, "Maren", offered_at_ms=ms("2026-02-27 11:40"))
        meals = [taken("2026-02-15 20:00", None, number=9), *refused, offer]
        long = Weighing("Maren", ms("2026-02-20 12:00"), 9000.0, 251.0, 60.0)
        found = find(
            meals,
            [long],
            shed=InShed(ms("2026-02-01 12:00"), ask=True),
            shares_with=["Ombra"],
        )
        assert found.notes.ask == (
            (
                "What became of the meal of Sun 15 Feb is not in the book; if it came back, wait "
                "14 days from then."
            ),
            (
                "The prey offered on Fri 27 Feb 2026, 11:40 has no end in the book: taken, "
                "refused, removed?"
            ),
            (
                "Found in shed on Sun 1 Feb, 26 days ago, and no skin in the book since: look "
                "whether it is over."
            ),
        )
        assert found.notes.mind == (
            "It refused two offers since its last meal.",
            "It shares left shelf with Ombra: feed them apart. [common practice]",
            "It is 250 cm or longer: feed with a second person present. [common practice]",
        )
        assert found.earliest == date(2026, 2, 27)  # a shed to ask about holds nothing back

    def test_inches_and_ounces(self) -> None:
        """200-300 g are 7.05-10.58 oz, 43.2 mm 1.70 in; neither end is rounded outwards."""
        settings = Settings.model_validate({"show": {"mass": "oz", "length": "in"}})
        text = self._text(find([], [weighed("2026-02-20 12:00", 2500.0)]), settings)
        assert "an adult rat of 7.5–10.5 oz, at most 1.7 in wide" in text
        assert "Size for 88.2 oz" in text

    def test_json(self) -> None:
        found = find(
            [taken("2026-02-20 20:00", Outcome.REGURGITATED, 41)], [weighed("2026-02-18 12:00")]
        )
        back = json.loads(json.dumps(found.as_json(), allow_nan=False))
        assert back["earliest"] == "2026-03-08"
        assert back["due"] is None
        assert back["today"] is False
        assert back["waits"][0]["rule"] == "after coming back"
        assert back["waits"][0]["until"] == "2026-03-08"
        assert back["portion"]["halved"] is True
        assert back["portion"]["body_at"] == "2026-02-18T12:00:00Z"
        assert back["fit_today"]["fit"] is True
        assert datetime.fromisoformat(back["at"]) == datetime(2026, 2, 27, 12, tzinfo=UTC)

    def test_every_rule_says_where_it_is_from(self) -> None:
        found = [
            find([taken("2026-02-23 20:00", None)], [weighed("2026-02-20 12:00")], shed=SHEDDING),
            find([taken("2026-02-20 20:00", Outcome.VOMITED, 41)]),
        ]
        waits = [wait for one in found for wait in one.waits]
        assert {wait.rule for wait in waits} == {
            "interval",
            "digestion",
            "shed",
            "vet",
            "after coming back",
        }
        assert all(wait.basis for wait in waits)
