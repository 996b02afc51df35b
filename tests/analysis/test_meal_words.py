"""A meal in words: who took what and when, and what became of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from analysis.meal_words import article, ending, meal_sentence, prey
from collector.book.records import Meal, Outcome
from config.settings import Settings

HOUR = 3_600_000
DAY = 24 * HOUR
TAKEN = round(datetime.fromisoformat("2026-03-03T21:40+00:00").timestamp() * 1000)
SETTINGS = Settings(time_zone="Europe/Lisbon")
MEAL = Meal(1, "Maren", taken_at_ms=TAKEN, prey="rat", prey_mass_g=220.0)


def eaten(**changes: object) -> Meal:
    return replace(MEAL, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("meal", "said"),
    [
        (MEAL, "a 220 g rat"),
        (eaten(prey_mass_g=80.0), "an 80 g rat"),
        (eaten(prey_mass_g=11.0), "an 11 g rat"),
        (eaten(prey_mass_g=18.4), "an 18 g rat"),
        (eaten(prey_mass_g=110.0), "a 110 g rat"),
        (eaten(prey_mass_g=None), "a rat (mass not known)"),
        (eaten(prey=None), "a 220 g meal (prey not known)"),
        (eaten(prey=None, prey_mass_g=None), "a meal (prey and mass not known)"),
        (eaten(prey_count=1), "a 220 g rat"),
        (eaten(prey="mouse", prey_count=3, prey_mass_g=25.0), "three mice, 25 g each"),
        (eaten(prey="day-old chick", prey_count=12, prey_mass_g=40.0),
         "12 day-old chicks, 40 g each"),
        (eaten(prey="finch", prey_count=2, prey_mass_g=None), "two finches, mass not known"),
        (eaten(prey="mice", prey_count=2), "two mice, 220 g each"),
        (eaten(prey=None, prey_count=2), "two items, 220 g each"),
        (eaten(prey="adult\nmouse", prey_mass_g=27.0), "a 27 g adult mouse"),
    ],
)  # fmt: skip
def test_prey(meal: Meal, said: str) -> None:
    assert prey(meal, SETTINGS) == said


def test_prey_in_ounces() -> None:
    ounces = Settings.model_validate({"show": {"mass": "oz"}})
    assert prey(eaten(prey_mass_g=226.796), ounces) == "an 8.0 oz rat"
    assert prey(MEAL, ounces) == "a 7.8 oz rat"


@pytest.mark.parametrize(
    ("words", "said"),
    [("8 g", "an"), ("800 g", "an"), ("8,000 g", "an"), ("11 g", "an"), ("18 g", "an"),
     ("11,000 g", "an"), ("1,100 g", "a"), ("180 g", "a"), ("1 g", "a"), ("egg", "an"),
     ("rat", "a"), ("", "a")],
)  # fmt: skip
def test_articles(words: str, said: str) -> None:
    assert article(words) == said


def test_who_took_what_and_when() -> None:
    assert meal_sentence(MEAL, SETTINGS) == "Maren took a 220 g rat on Tue 3 Mar 2026 at 21:40"
    refused = eaten(taken_at_ms=None, offered_at_ms=TAKEN, outcome=Outcome.REFUSED)
    assert meal_sentence(refused, SETTINGS) == (
        "Maren refused a 220 g rat on Tue 3 Mar 2026 at 21:40"
    )
    assert meal_sentence(eaten(taken_at_ms=None), SETTINGS) == (
        "Maren was offered a 220 g rat, when is not known"
    )
    assert meal_sentence(eaten(animal="\u202e"), SETTINGS).startswith("An animal took")


@pytest.mark.parametrize(
    ("outcome", "after_ms", "said"),
    [
        (Outcome.REGURGITATED, 41 * HOUR + 1, "came back after 41 h"),
        (Outcome.REGURGITATED, 96 * HOUR, "came back after 96 h"),
        (Outcome.REGURGITATED, 96 * HOUR + 1, "came back on day 5"),
        (Outcome.REGURGITATED, None, "came back, when is not known"),
        (Outcome.VOMITED, 20 * HOUR, "vomited after 20 h"),
        (Outcome.PASSED, 8 * DAY + HOUR, "kept, passed day 9"),
        (Outcome.PASSED, None, "kept, passed"),
        (Outcome.KEPT, 7 * DAY, "kept, as of day 8"),
        (Outcome.KEPT, None, "kept"),
        (Outcome.REFUSED, None, "refused"),
    ],
)
def test_what_became_of_it(outcome: Outcome, after_ms: int | None, said: str) -> None:
    at_ms = TAKEN + after_ms if after_ms is not None else None
    meal = eaten(outcome=outcome, outcome_at_ms=at_ms)
    assert ending(meal, TAKEN + 8 * DAY, "complete", 8.1) == said


@pytest.mark.parametrize(
    ("end_ms", "ended_by", "about_d", "said"),
    [
        (3 * DAY + HOUR, "now", 8.1, "day 4 of about 8"),
        (3 * DAY, "now", 8.1, "day 3 of about 8"),
        (0, "now", 8.1, "day 1 of about 8"),
        (3 * DAY + HOUR, "now", None, "day 4"),
        (8 * DAY, "complete", 8.1, "outcome not known yet"),
        (6 * DAY, "next meal", 8.1, "outcome not known, next meal taken"),
    ],
)
def test_while_nothing_is_known(
    end_ms: int, ended_by: str, about_d: float | None, said: str
) -> None:
    assert ending(MEAL, TAKEN + end_ms, ended_by, about_d) == said
