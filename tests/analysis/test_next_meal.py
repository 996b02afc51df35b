"""Every rule of the next meal, worked by hand from the numbers of the trade."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from analysis.condition import condition
from analysis.exposure import Line, line_of
from analysis.fit_today import Fit, fit_today
from analysis.next_meal import NextMeal, next_meal
from analysis.next_words import sentences
from analysis.portion import Portion
from analysis.waits import Digesting, through_at
from collector.book.records import Animal, Meal, Outcome, Weighing
from config.care import load_care_profile
from config.settings import Settings

CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")
LISBON = ZoneInfo("Europe/Lisbon")
HOUR, DAY = 3_600_000, 86_400_000
GROWN = Animal("Maren", "Boa constrictor", born=date(2019, 5, 1))
RIGHT = Fit(True, (), 48.0, 0.0, 0.0)


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
    digesting: Digesting | None = None,
    fit: Fit = RIGHT,
    in_shed: bool = False,
) -> NextMeal:
    state = condition(animal, meals, weighings, CARE, SETTINGS, now_ms)
    return next_meal(
        state,
        meals,
        weighings,
        fit=fit,
        care=CARE,
        settings=SETTINGS,
        digesting=digesting,
        enclosure="left shelf",
        in_shed=in_shed,
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
        assert "age not known" in found.waits[0].why

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


class TestDigestion:
    @pytest.mark.parametrize(
        ("pct", "cool_c", "days"),
        # D in days: the trade's own table, ± 0.02.
        [
            (10.0, 25.0, 6.28),
            (10.0, 20.0, 10.12),
            (25.0, 25.0, 11.29),
            (25.0, 20.0, 18.20),
            (5.0, 28.0, 3.03),
        ],
    )
    def test_through_at_the_cool_sides_pace(self, pct: float, cool_c: float, days: float) -> None:
        at_ms = ms("2026-02-25 12:00")  # two days ago
        through = through_at(at_ms, Digesting(pct, flat(cool_c, "2026-02-25 12:00")), CARE, NOW)
        assert (through.at_ms - at_ms) / DAY == pytest.approx(days, abs=0.02)
        assert through.share == pytest.approx(2 / days, abs=0.002)
        assert through.assumed_hours == 0

    def test_a_day_of_swing_lengthens_it(self) -> None:
        at_ms = ms("2026-02-25 12:00")
        swinging = Digesting(10.0, flat(25.0, "2026-02-25 12:00"), 1.25)
        through = through_at(at_ms, swinging, CARE, NOW)
        assert (through.at_ms - at_ms) / DAY == pytest.approx(6.28 * 1.25, abs=0.03)

    def test_without_a_probe_the_low_end_of_the_cool_side_is_taken(self) -> None:
        """24 °C: D(10 %) = 3.89 × 2.6^0.6 = 6.90 days."""
        at_ms = ms("2026-02-25 12:00")
        through = through_at(at_ms, Digesting(10.0, None), CARE, NOW)
        assert (through.at_ms - at_ms) / DAY == pytest.approx(3.89 * 2.6**0.6, abs=0.02)
        assert through.assumed_hours == pytest.approx(48.0)

    def test_a_gap_counts_as_the_low_end_and_the_pace_goes_on(self) -> None:
        """25 °C for 30 of 48 h: 30 h of 6.28 days and 18 h of 6.90, then on at 25 °C."""
        at_ms = ms("2026-02-25 12:00")
        cool = flat(25.0, "2026-02-25 12:00", at_ms + 30 * HOUR)
        through = through_at(at_ms, Digesting(10.0, cool), CARE, NOW)
        share = 30 / 24 / 6.28 + 18 / 24 / 6.90
        assert through.share == pytest.approx(share, abs=0.002)
        assert (through.at_ms - NOW) / DAY == pytest.approx((1 - share) * 6.28, abs=0.03)

    def test_it_holds_a_large_meal_back_longer_than_the_interval(self) -> None:
        """450 g in 1,800 g, 25 %, at 25 °C: 11.29 days, from Friday noon to Tuesday evening."""
        meals = [taken("2026-02-20 12:00", Outcome.KEPT, 100, mass_g=450.0)]
        found = find(
            meals,
            [weighed("2026-02-01 12:00")],
            digesting=Digesting(25.0, flat(25.0, "2026-02-20 12:00")),
        )
        assert rules(found) == {"digestion": date(2026, 3, 3), "interval": date(2026, 2, 27)}
        assert found.earliest == date(2026, 3, 3)
        assert [wait.rule for wait in found.holding] == ["digestion"]
        assert found.waits[0].why == "on the cool side the last meal is 62 % through"

    def test_an_unknown_size_is_the_models_reference_meal(self) -> None:
        at_ms = ms("2026-02-25 12:00")
        unknown, quarter = (
            through_at(at_ms, Digesting(pct, flat(25.0, "2026-02-25 12:00")), CARE, NOW)
            for pct in (None, 25.0)
        )
        assert unknown == quarter

    def test_what_was_passed_is_through(self) -> None:
        meals = [taken("2026-02-20 12:00", Outcome.PASSED, 100, mass_g=450.0)]
        assert "digestion" not in rules(find(meals, [weighed("2026-02-01 12:00")]))

    def test_without_a_line_the_book_gives_the_size(self) -> None:
        """180 g in 1,800 g at 24 °C: 6.90 days from Sunday 22 February noon."""
        found = find([taken("2026-02-22 12:00", None)], [weighed("2026-02-01 12:00")])
        assert rules(found)["digestion"] == date(2026, 3, 1)


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
        assert found.vet == ("two meals in a row came back: see a vet before the next",)
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
        assert found.vet == ("the last meal was vomited: see a vet at once",)

    def test_an_unknown_hour_counts_from_the_meal(self) -> None:
        meal = taken("2026-02-20 20:00")
        back = Meal(1, "Maren", taken_at_ms=meal.taken_at_ms, outcome=Outcome.REGURGITATED)
        assert find([back]).earliest == date(2026, 3, 6)


class TestOtherRules:
    def test_no_meal_in_shed(self) -> None:
        found = find([taken("2026-02-18 20:00")], in_shed=True)
        assert rules(found) == {"shed": None, "interval": date(2026, 2, 25)}
        assert found.earliest is None
        assert not found.vet

    def test_more_than_ten_percent_lost_is_for_a_vet_but_not_for_fasting(self) -> None:
        weighings = [weighed("2025-12-01 12:00", 2000.0), weighed("2026-02-26 12:00", 1790.0)]
        found = find([taken("2026-02-10 20:00")], weighings)
        assert found.earliest == date(2026, 2, 27)
        assert len(found.vet) == 1
        assert found.vet[0].startswith("10 % lost from its peak")

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
        assert found.energy_basis is not None
        assert "table 71-5" in found.energy_basis

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
    def _text(self, of: NextMeal, settings: Settings = SETTINGS) -> str:
        return " ".join(sentences(of, settings))

    def test_waiting(self) -> None:
        found = find([taken("2026-02-23 20:00", after_h=80)], [weighed("2026-02-20 12:00", 2500.0)])
        assert self._text(found) == (
            "Maren: not before Mon 2 Mar 2026. 7 to 10 days between meals (81 months old). "
            "[common practice] Offer 200 g to 300 g: adult rat, no wider than 43 mm; about 320 to "
            "480 kcal. The enclosure is fit for a meal today."
        )

    def test_today_due_and_overdue(self) -> None:
        assert "a meal may be given today, by Sat 28 Feb 2026" in self._text(
            find([taken("2026-02-18 20:00")])
        )
        assert "a meal is due since Fri 20 Feb 2026" in self._text(
            find([taken("2026-02-10 20:00")])
        )
        assert "nothing speaks against one today" in self._text(find([]))

    def test_vet_shed_and_half(self) -> None:
        twice = [
            taken("2026-01-20 20:00", Outcome.REGURGITATED, 41, number=1),
            taken("2026-02-20 20:00", Outcome.REGURGITATED, 30, number=2),
        ]
        text = self._text(find(twice, [weighed("2026-02-20 12:00")]))
        assert "no meal before a vet has seen it" in text
        assert "Half the usual size" in text
        assert "not veterinary advice" in text
        assert "in shed; no meal before it is over" in self._text(find([], in_shed=True))

    def test_unknown_is_said(self) -> None:
        text = self._text(find([], fit=Fit(None, ("no probe on the warm side",), 0, 0, 0)))
        assert "weigh it first" in text
        assert "not known: no probe on the warm side. Look for yourself." in text

    def test_inches_and_ounces(self) -> None:
        settings = Settings.model_validate({"show": {"mass": "oz", "length": "in"}})
        text = self._text(find([], [weighed("2026-02-20 12:00", 2500.0)]), settings)
        assert "Offer 7.1 oz to 10.6 oz: adult rat, no wider than 1.7 in" in text

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
            find([taken("2026-02-23 20:00", None)], [weighed("2026-02-20 12:00")], in_shed=True),
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
