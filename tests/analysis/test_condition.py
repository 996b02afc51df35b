"""Condition and growth: hand-worked figures, laws, and what is said early."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from analysis.condition import Condition, condition, conditions_of
from analysis.condition_words import sentences
from analysis.food import food, usual_pct_month
from analysis.weights import MONTH_DAYS, loss, scaled_mass, trend, weights
from collector.book.records import Animal, Look, Meal, Outcome, Ribs, Spine, Vent, Weighing
from config.care import load_care_profile
from config.settings import Settings

CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")
DAY = 86_400_000
NOW = 1_772_323_200_000  # 2026-03-01T00:00:00Z
GROWN = Animal("Maren", "Boa constrictor", born=date(2019, 5, 1))
HALF_GROWN = Animal("Maren", "Boa constrictor", born=date(2024, 7, 1))


def _weighing(
    days_ago: float, mass_g: float | None, length_cm: float | None = None, animal: str = "Maren"
) -> Weighing:
    return Weighing(animal, NOW - round(days_ago * DAY), mass_g, length_cm)


def _meal(
    days_ago: float,
    mass_g: float | None = 120.0,
    *,
    prey: str = "rat",
    outcome: Outcome | None = Outcome.PASSED,
    after_days: float = 9.0,
) -> Meal:
    at_ms = NOW - round(days_ago * DAY)
    return Meal(
        meal=round(1000 - days_ago),
        animal="Maren",
        taken_at_ms=at_ms,
        prey=prey,
        prey_count=1,
        prey_mass_g=mass_g,
        outcome=outcome,
        outcome_at_ms=at_ms + round(after_days * DAY),
    )


def _condition(meals: list[Meal], weighings: list[Weighing], animal: Animal = GROWN) -> Condition:
    return condition(animal, meals, weighings, CARE, SETTINGS, NOW)


def _kinds(of: Condition) -> list[str]:
    return [sign.kind for sign in of.signs]


class TestWeights:
    def test_a_meal_inside_is_known_for_its_window(self) -> None:
        """120 g in 1,200 g, 10 %: D(10 %, 30 °C) = 3.89 days, passed later than that."""
        found = weights(
            [_weighing(60, 1200.0), _weighing(26.2, 1310.0), _weighing(26.0, 1205.0)],
            [_meal(30)],
            CARE,
            NOW,
        )
        assert [one.fed for one in found] == [False, True, False]

    def test_a_meal_that_came_back_is_not_inside(self) -> None:
        back = _meal(30, outcome=Outcome.REGURGITATED, after_days=1.0)
        found = weights([_weighing(29.5, 1320.0), _weighing(28.5, 1190.0)], [back], CARE, NOW)
        assert [one.fed for one in found] == [True, False]

    def test_a_full_animal_is_no_peak(self) -> None:
        """1,200 g and 1,190 g empty; 1,320 g with a rat inside is neither peak nor loss."""
        lost = loss(
            weights(
                [_weighing(60, 1200.0), _weighing(29, 1320.0), _weighing(1, 1190.0)],
                [_meal(30)],
                CARE,
                NOW,
            )
        )
        assert lost is not None
        assert lost.peak_g == 1200.0
        assert lost.pct == pytest.approx(100 * 10 / 1200)

    def test_one_that_was_never_weighed_empty_has_no_loss(self) -> None:
        """1,320 g with a rat inside, 1,250 g later in the same meal: a meal, perhaps."""
        masses = [_weighing(29, 1320.0), _weighing(28, 1250.0)]
        assert loss(weights(masses, [_meal(30)], CARE, NOW)) is None

    def test_a_full_animal_that_is_lighter_than_it_was_empty_has_surely_lost(self) -> None:
        """1,200 g empty; 1,050 g with a rat inside: at least 12.5 % lost."""
        masses = [_weighing(60, 1200.0), _weighing(50, 1190.0), _weighing(29, 1050.0)]
        lost = loss(weights(masses, [_meal(30)], CARE, NOW))
        assert lost is not None
        assert lost.last_g == 1050.0
        assert lost.pct == pytest.approx(12.5)

    def test_weighings_to_come_do_not_count(self) -> None:
        assert weights([_weighing(-1, 1000.0), _weighing(1, None)], [], CARE, NOW) == []


class TestTrend:
    @given(st.floats(-8.0, 8.0))
    def test_steady_growth_is_found_as_it_is(self, pct_month: float) -> None:
        grows = log(1 + pct_month / 100) / MONTH_DAYS
        masses = [_weighing(d, 1000 * exp(-grows * d)) for d in range(150, 0, -20)]
        found = trend(weights(masses, [], CARE, NOW), CARE, NOW)
        assert found is not None
        assert found.pct_month == pytest.approx(pct_month, abs=1e-6)

    def test_only_what_the_whole_interval_says(self) -> None:
        """Five weighings, every later one heavier: 98.3 % sure of 95. Four are never sure."""
        rising = [
            _weighing(d, m)
            for d, m in zip((80, 60, 40, 20, 0), (980, 990, 1005, 1010, 1030), strict=True)
        ]
        five = trend(weights(rising, [], CARE, NOW), CARE, NOW)
        four = trend(weights(rising[:4], [], CARE, NOW), CARE, NOW)
        assert five is not None
        assert four is not None
        assert five.direction == "rising"
        assert four.direction == "cannot tell"
        assert four.low_pct_month is None

    def test_what_is_older_than_half_a_year_is_not_the_trend(self) -> None:
        old = [_weighing(d, 2000.0 - d) for d in range(400, 200, -20)]
        assert trend(weights(old, [], CARE, NOW), CARE, NOW) is None


class TestFood:
    def test_by_hand(self) -> None:
        """Nine 120 g rats in 90 days for 1,200 g: 9 × 10 % / (90 / 30.4375) = 30.4375 % a month.

        365.25 g, and 1.6 kcal/g of it (Small Animal Clinical Nutrition, table 71-5): 584.4 kcal.
        """
        meals = [_meal(d) for d in range(85, 4, -10)]
        eaten = food(meals, [_weighing(d, 1200.0) for d in (200, 100, 50)], 80, CARE, NOW)
        assert eaten is not None
        assert eaten.meals == 9
        assert eaten.days == 90.0
        assert eaten.pct_month == pytest.approx(30.4375)
        assert eaten.g_month == pytest.approx(365.25)
        assert eaten.kcal_month == pytest.approx(584.4)
        assert (eaten.mass_unknown, eaten.share_unknown, eaten.energy_unknown) == (0, 0, 0)

    def test_what_came_back_fed_nobody(self) -> None:
        meals = [_meal(80), _meal(40, outcome=Outcome.REGURGITATED, after_days=2.0)]
        eaten = food(meals, [_weighing(95, 1200.0)], 80, CARE, NOW)
        assert eaten is not None
        assert (eaten.meals, eaten.came_back) == (1, 1)
        assert eaten.g_month == pytest.approx(120.0 * MONTH_DAYS / 90)

    def test_unknown_is_not_nothing(self) -> None:
        meals = [_meal(80), _meal(60, None), _meal(40, 500.0, prey="rabbit"), _meal(20, prey="eel")]
        eaten = food(meals, [_weighing(95, 1200.0)], 80, CARE, NOW)
        assert eaten is not None
        assert (eaten.mass_unknown, eaten.share_unknown, eaten.energy_unknown) == (1, 1, 3)
        assert not eaten.under
        none = food([_meal(60, None)], [_weighing(95, 1200.0)], 80, CARE, NOW)
        assert none is not None
        assert (none.g_month, none.pct_month, none.kcal_month) == (None, None, None)

    def test_the_meal_that_records_begin_with_belongs_to_the_time_before(self) -> None:
        """Four meals ten days apart since day 40: three in 40 days, not four."""
        eaten = food([_meal(d) for d in (40, 30, 20, 10)], [], 80, CARE, NOW)
        assert eaten is not None
        assert (eaten.days, eaten.meals) == (40.0, 3)

    def test_nothing_eaten_is_nothing(self) -> None:
        eaten = food([], [_weighing(95, 1200.0)], 80, CARE, NOW)
        assert eaten is not None
        assert (eaten.meals, eaten.g_month) == (0, 0.0)
        assert eaten.under

    def test_less_than_four_weeks_of_records_make_no_month(self) -> None:
        assert food([_meal(20)], [_weighing(27, 1200.0)], 80, CARE, NOW) is None

    def test_what_is_usual(self) -> None:
        """8-12 % every 7-10 days from 6 months, every 10-14 days before."""
        assert usual_pct_month(80, CARE) == pytest.approx((24.35, 52.18), abs=0.01)
        assert usual_pct_month(5, CARE) == pytest.approx((17.39, 36.53), abs=0.01)
        assert usual_pct_month(None, CARE) == pytest.approx((17.39, 52.18), abs=0.01)


class TestScaledMass:
    @given(st.floats(2.0, 4.0), st.floats(0.001, 0.1))
    def test_a_power_law_gives_its_exponent_and_one_index(self, b: float, a: float) -> None:
        lengths = [float(x) for x in range(60, 200, 10)]
        records = [_weighing(300 - x, a * x**b, x) for x in lengths]
        found = scaled_mass("Maren", records, 10)
        assert found is not None
        assert found.exponent == pytest.approx(b, rel=1e-6)
        assert found.index_g == pytest.approx(a * float(np.mean(lengths)) ** b, rel=1e-6)
        assert found.of_median == pytest.approx(1.0, rel=1e-6)

    def test_the_exponent_is_the_slope_over_the_correlation(self) -> None:
        """Peig & Green 2009, against scipy's least squares; and the index by their formula."""
        rng = np.random.default_rng(8)
        lengths = rng.uniform(70, 190, size=30)
        masses = 0.002 * lengths**2.9 * np.exp(rng.normal(0, 0.12, size=30))
        records = [
            _weighing(40 - i, float(m), float(x), f"animal {i % 4}")
            for i, (m, x) in enumerate(zip(masses, lengths, strict=True))
        ]
        found = scaled_mass("animal 1", records, 10)
        line = linregress(np.log(lengths), np.log(masses))
        assert found is not None
        assert found.exponent == pytest.approx(line.slope / line.rvalue, rel=1e-9)
        assert (found.records, found.animals) == (30, 4)
        last = records[29]
        assert last.animal == "animal 1"
        assert found.index_g == pytest.approx(
            float(masses[29] * (lengths.mean() / lengths[29]) ** found.exponent), rel=1e-9
        )

    def test_too_few_records_or_no_relation_say_nothing(self) -> None:
        nine = [_weighing(i, 100.0 + 30 * i, 60.0 + 5 * i) for i in range(9)]
        assert scaled_mass("Maren", nine, 10) is None
        flat = [_weighing(i, 100.0 + 30 * i, 60.0) for i in range(12)]
        assert scaled_mass("Maren", flat, 10) is None
        wild = [_weighing(i, 100.0 + 400 * (i % 2), 60.0 + 5 * i) for i in range(12)]
        assert scaled_mass("Maren", wild, 10) is None
        assert (
            scaled_mass("Ombra", [_weighing(i, 99.0 + i**3, 60.0 + i) for i in range(12)], 10)
            is None
        )

    def test_meals_inside_and_other_species_are_left_out_of_the_fit(self) -> None:
        animals = [GROWN, Animal("Pitu", "Python regius")]
        weighings = [_weighing(300 - 10 * i, 0.002 * (80.0 + i) ** 3, 80.0 + i) for i in range(12)]
        weighings += [_weighing(29.5, 9000.0, 92.0), _weighing(20, 400.0, 92.0, "Pitu")]
        (maren,) = conditions_of(
            animals, [_meal(30)], weighings, CARE, SETTINGS, NOW, animal="Maren"
        )
        assert maren.scaled_mass is not None
        assert maren.scaled_mass.records == 12
        assert maren.scaled_mass.exponent == pytest.approx(3.0, rel=1e-6)


class TestSigns:
    @pytest.mark.parametrize(
        ("last_g", "kind"),
        [(899.0, "vet"), (900.0, "underfed"), (950.0, "underfed"), (951.0, None)],
    )
    def test_lost_from_the_peak(self, last_g: float, kind: str | None) -> None:
        """Over 10 % is for a vet (trade rule); from 5 % on it is said early."""
        found = _condition([], [_weighing(20, 1000.0), _weighing(1, last_g)])
        assert [sign.kind for sign in found.signs] == ([kind] if kind else [])

    def test_losing_is_said_before_it_is_much(self) -> None:
        masses = [_weighing(d, 1000 + 0.4 * d) for d in (100, 80, 60, 40, 20, 1)]
        found = _condition([_meal(d) for d in range(88, 4, -9)], masses)
        assert found.trend is not None
        assert found.trend.direction == "falling"
        assert found.loss is not None
        assert found.loss.pct < 5
        assert _kinds(found) == ["underfed"]
        assert found.state == "thin"

    def test_a_grown_animal_that_still_gains(self) -> None:
        masses = [_weighing(d, 2000 * exp(-0.0008 * d)) for d in (150, 120, 90, 60, 30, 1)]
        meals = [_meal(d, 200.0) for d in range(85, 4, -9)]
        assert _kinds(_condition(meals, masses)) == ["overfed"]
        assert _condition(meals, masses).state == "heavy"
        # A young one grows; one of unknown age may be young.
        assert "overfed" not in _kinds(
            _condition(meals, masses, Animal("Tula", born=date(2025, 9, 1)))
        )
        assert _condition(meals, masses, Animal("Tula")).signs == ()

    def test_fed_more_or_less_than_is_usual(self) -> None:
        """From 24 to 52 % a month is usual; a gaining animal fed little is not underfed."""
        level = [
            _weighing(d, m)
            for d, m in zip(
                (150, 120, 90, 60, 30, 1), (1000, 1004, 998, 1001, 1003, 999), strict=True
            )
        ]
        much = _condition([_meal(d, 150.0) for d in range(88, 3, -7)], level)
        few = [_meal(d, 80.0) for d in (80, 50, 20)]
        little = _condition(few, level, HALF_GROWN)
        assert _condition(few, level).signs == ()  # grown: it keeps its mass on it
        usual = _condition([_meal(d, 100.0) for d in range(88, 3, -9)], level)
        assert _kinds(much) == ["overfed"]
        assert _kinds(little) == ["underfed"]
        assert usual.signs == ()
        assert usual.state == "ordinary"
        gaining = [_weighing(d, 800 - d) for d in (150, 120, 90, 60, 30, 1)]
        assert _condition([_meal(d, 60.0) for d in (80, 50, 20)], gaining, HALF_GROWN).signs == ()

    def test_a_text_never_says_that_a_limit_was_reached_when_it_was_not(self) -> None:
        """9.96 % lost is not 10 %, and the records' sentence does not say so."""
        text = " ".join(
            sentences(_condition([], [_weighing(20, 10_000.0), _weighing(1, 9004.0)]), SETTINGS)
        )
        assert "9 % below its peak of 10,000 g" in text
        assert "vet:" not in text

    def test_every_sign_says_where_its_limit_is_from(self) -> None:
        found = _condition([], [_weighing(d, 1000 + 4 * d) for d in (100, 80, 60, 40, 20, 1)])
        assert {"vet", "underfed"} == set(_kinds(found))
        assert all(sign.basis for sign in found.signs)


class TestLook:
    GAINING = tuple(_weighing(d, 1000 * exp(-0.001 * d)) for d in (150, 120, 90, 60, 30, 1))

    def _of(self, look: Look, weighings: Sequence[Weighing] = ()) -> Condition:
        return condition(GROWN, [], weighings, CARE, SETTINGS, NOW, looks=[look])

    def test_a_fresh_look_outweighs_the_weights_and_the_contradiction_is_said(self) -> None:
        thin = Look("Maren", NOW - 5 * DAY, Spine.SHARP, Ribs.SEEN)
        found = self._of(thin, self.GAINING)
        assert found.trend is not None
        assert (found.trend.direction, found.state) == ("rising", "thin")
        assert found.contradiction == "the look says thin, but its weight is rising"
        text = " ".join(sentences(found, SETTINGS))
        assert "thin by the last look at it" in text
        assert "The look 5 days ago said thin: spine sharp, ribs seen. [common practice]" in text
        assert "weigh it and look again" in text

    def test_sixty_days_and_it_no_longer_decides_but_is_named_with_its_age(self) -> None:
        heavy = Look("Maren", NOW - 60 * DAY, vent=Vent.BULGING)
        assert self._of(heavy).state == "heavy"
        old = self._of(replace(heavy, at_ms=NOW - 61 * DAY))
        assert old.state == "not known"
        assert old.contradiction is None
        text = " ".join(sentences(old, SETTINGS))
        assert "The look 61 days ago said heavy: bulges before the vent. It is too long ago" in text

    def test_a_look_against_the_records(self) -> None:
        meals = [_meal(d, 200.0) for d in range(85, 4, -9)]
        look = Look("Maren", NOW - DAY, Spine.SHARP)
        found = condition(GROWN, meals, self.GAINING, CARE, SETTINGS, NOW, looks=[look])
        assert found.state_by_records == "heavy"
        assert found.contradiction is not None
        losing = [_weighing(d, 1000 + 0.4 * d) for d in (100, 80, 60, 40, 20, 1)]
        heavy = self._of(Look("Maren", NOW - DAY, vent=Vent.BULGING), losing)
        assert heavy.contradiction == "the look says heavy, but its weight is falling"
        fits = self._of(Look("Maren", NOW - DAY, Spine.SHARP), losing)
        assert fits.contradiction is None

    def test_none(self) -> None:
        assert "Nobody has written down a look" in " ".join(sentences(_condition([], []), SETTINGS))


class TestWordsAndJson:
    def test_words(self) -> None:
        masses = [_weighing(d, 1000 + 4 * d) for d in (100, 80, 60, 40, 20, 1)]
        text = " ".join(sentences(_condition([_meal(80), _meal(20, None)], masses), SETTINGS))
        assert text.startswith(
            "Maren: see a vet; thin by weights and food; 1,004 g, weighed 24 h ago."
        )
        assert "it is losing" in text
        assert "28 % below its peak of 1,400 g" in text
        assert "Fed at least" in text
        assert "See a vet: more than 10 % lost from its peak." in text
        assert "not veterinary advice" in text

    def test_never_weighed(self) -> None:
        text = sentences(_condition([], []), SETTINGS)
        assert text[0] == "Maren: whether it is thin or heavy is not known; never weighed."
        assert _condition([], []).state == "not known"

    def test_ounces(self) -> None:
        ounces = Settings.model_validate({"show": {"mass": "oz"}})
        assert "35.3 oz, weighed" in sentences(_condition([], [_weighing(1, 1000.0)]), ounces)[0]

    def test_json(self) -> None:
        masses = [_weighing(d, 1000 + d, 100.0 + d / 10) for d in (100, 80, 60, 40, 20, 1)]
        (found,) = conditions_of([GROWN], [_meal(50)], masses, CARE, SETTINGS, NOW)
        back = json.loads(json.dumps(found.as_json(), allow_nan=False))
        assert back["at"] == "2026-03-01T00:00:00Z"
        assert back["loss"]["peak_at"] == "2025-11-21T00:00:00Z"
        assert back["scaled_mass"] is None
        assert back["trend"]["direction"] == "falling"
        assert back["state"] == "thin"
        assert (back["state_by"], back["look"], back["contradiction"]) == ("records", None, None)
        looked = condition(
            GROWN, [], [], CARE, SETTINGS, NOW, looks=[Look("Maren", NOW - DAY, Spine.SHARP)]
        )
        shown = json.loads(json.dumps(looked.as_json(), allow_nan=False))
        assert shown["look"] == {
            "at": "2026-02-28T00:00:00Z",
            "days_ago": 1.0,
            "fresh": True,
            "state": "thin",
            "because": ["spine sharp"],
            "basis": "common practice",
        }
        assert shown["state_by"] == "look"
