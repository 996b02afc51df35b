"""The life of a meal, by hand; the night over clock changes (IANA time zone database)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.meal_life import MealState, due, meal_state, outcome_due_ms, reminders_ms
from analysis.window import DAY_MS
from collector.book.records import Meal, Outcome, Weighing
from config.care import load_care_profile
from tests.collector.book.invented import NOW, meals

CARE = load_care_profile("boa-constrictor")
LISBON = ZoneInfo("Europe/Lisbon")
MINUTE = 60_000


def at(text: str, zone: ZoneInfo = LISBON) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp() * 1000)


OFFERED = Meal(1, "Ombra", offered_at_ms=at("2026-03-03 20:00"))
TAKEN = replace(OFFERED, taken_at_ms=at("2026-03-03 20:10"))


def state(meal: Meal, when: str, *weighings: Weighing) -> MealState:
    return meal_state(meal, at(when), CARE, LISBON, weighings)


def test_an_offer_is_asked_about_after_half_an_hour() -> None:
    assert state(OFFERED, "2026-03-03 20:29") is MealState.OFFERED
    assert state(OFFERED, "2026-03-03 20:30") is MealState.STILL_THERE
    assert reminders_ms(OFFERED, CARE, LISBON) == (
        at("2026-03-03 20:30"),
        at("2026-03-03 22:00"),
    )


def test_never_overnight() -> None:
    late = replace(OFFERED, offered_at_ms=at("2026-03-03 21:45"))
    assert reminders_ms(late, CARE, LISBON) == (at("2026-03-03 22:00"), at("2026-03-03 22:15"))
    assert state(late, "2026-03-03 22:00") is MealState.STILL_THERE
    later = replace(OFFERED, offered_at_ms=at("2026-03-03 23:00"))
    assert reminders_ms(later, CARE, LISBON) == (at("2026-03-03 23:30"),)
    assert reminders_ms(replace(TAKEN, offered_at_ms=None), CARE, LISBON) == ()


def test_the_night_follows_the_clocks() -> None:
    """29 March 2026, forward at 01:00: an offer just after midnight has 21 h to 22:00, not 22."""
    meal = replace(OFFERED, offered_at_ms=at("2026-03-29 00:00"))
    assert reminders_ms(meal, CARE, LISBON)[1] - at("2026-03-29 00:00") == 21 * 3_600_000


def test_taken_refused_and_taken_away() -> None:
    assert state(TAKEN, "2026-03-03 20:05") is MealState.OFFERED, "not taken yet then"
    assert state(TAKEN, "2026-03-03 20:10") is MealState.TAKEN
    refused = replace(OFFERED, outcome=Outcome.REFUSED)
    assert state(refused, "2026-03-03 21:00") is MealState.REFUSED
    away = replace(OFFERED, removed_at_ms=at("2026-03-03 21:00"))
    assert state(away, "2026-03-03 20:59") is MealState.STILL_THERE
    assert state(away, "2026-03-03 21:00") is MealState.REFUSED


def test_an_outcome_is_asked_for_when_its_time_is_over() -> None:
    """Unknown masses: 7 days. 10 % of the body at 30 °C: 3.89 d (digestion table, derived)."""
    assert state(TAKEN, "2026-03-10 20:09") is MealState.TAKEN
    assert state(TAKEN, "2026-03-10 20:10") is MealState.OUTCOME_OPEN
    known = replace(TAKEN, prey_mass_g=180.0)
    weighing = Weighing("Ombra", at("2026-03-01 12:00"), mass_g=1800.0)
    days = (outcome_due_ms(known, CARE, [weighing]) - at("2026-03-03 20:10")) / DAY_MS
    assert days == pytest.approx(3.89, abs=0.02)
    kept = replace(TAKEN, outcome=Outcome.KEPT, outcome_at_ms=at("2026-03-05 12:00"))
    assert state(kept, "2026-03-20 12:00") is MealState.CLOSED
    assert state(kept, "2026-03-04 12:00") is MealState.TAKEN
    with pytest.raises(ValueError, match="was not taken"):
        outcome_due_ms(OFFERED, CARE)


def test_what_is_due_comes_with_its_answers_the_oldest_first() -> None:
    other = replace(TAKEN, meal=2, animal="Pip", prey_mass_g=180.0)
    weighed = [Weighing("Pip", at("2026-03-01 12:00"), mass_g=1800.0)]
    open_ = replace(OFFERED, meal=3, offered_at_ms=at("2026-03-15 20:00"))
    found = due([TAKEN, other, open_], at("2026-03-15 21:00"), CARE, LISBON, weighed)
    assert [(one.meal.meal, one.state) for one in found] == [
        (2, MealState.OUTCOME_OPEN),
        (1, MealState.OUTCOME_OPEN),
        (3, MealState.STILL_THERE),
    ]
    assert found[1].at_ms == at("2026-03-10 20:10")
    assert found[2].answers == ("warmcoil meal 3 --taken TIME", "warmcoil meal 3 --removed")
    assert due([OFFERED], at("2026-03-03 20:29"), CARE, LISBON) == []


@given(meals(st.just("Ombra")), st.integers(0, 400))
def test_every_meal_is_somewhere_and_asked_about_only_while_open(meal: Meal, days: int) -> None:
    now_ms = NOW + days * DAY_MS
    where = meal_state(meal, now_ms, CARE, LISBON)
    asked = due([meal], now_ms, CARE, LISBON)
    assert bool(asked) == (where in (MealState.STILL_THERE, MealState.OUTCOME_OPEN))
    assert all(one.at_ms <= now_ms for one in asked)
    if meal.outcome is not None and (meal.outcome_at_ms or 0) <= now_ms:
        assert where in (MealState.CLOSED, MealState.REFUSED)
