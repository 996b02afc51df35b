"""A pattern in words and as JSON: what matters first, every count with it, never why."""

from __future__ import annotations

import json

import numpy as np
import pytest

from analysis.at_risk import Left
from analysis.compared import Amount
from analysis.pattern import Pattern, pattern
from analysis.pattern_words import _odds, _phrase, _round_up, sentences
from config.settings import Settings, Show
from tests.analysis.meals import SETTINGS
from tests.analysis.simulated_books import book
from tests.analysis.small_books import dealt


@pytest.fixture(scope="module")
def patterns() -> list[Pattern]:
    """Books of every kind: with effect, without, tiny, empty."""
    books = [
        book(np.random.default_rng(1), effect=0.5, animals=5, meals=30),
        book(np.random.default_rng(2)),
        book(np.random.default_rng(3), animals=1, meals=8),
        dealt((5, 0, 0, 5), (4, 1, 0, 5)),
        dealt((3, 1, 1, 3)),
        [],
    ]
    return [pattern(meals, Left(2, 1)) for meals in books]


def test_never_why(patterns: list[Pattern]) -> None:
    texts = [text for found in patterns for text in sentences(found, SETTINGS)]
    texts += [json.dumps(found.as_json()) for found in patterns]
    assert not [text for text in texts if "cause" in text.casefold()]
    assert all(text == text.strip() and "nan" not in text.split() for text in texts)


def test_the_words_say_what_was_found(patterns: list[Pattern]) -> None:
    effect, *_, named, undecided, empty = (" ".join(sentences(f, SETTINGS)) for f in patterns)
    assert "A cold spell of 6 h or longer: " in effect
    assert "Every 10 °C·h more multiplies the odds of coming back by about" in effect
    assert "Fed in a box: 9 of 10 came back (90 %; 60 to 98 %)" in named
    assert "They go together: meals with it came back more often" in named
    assert "cannot decide" not in named
    assert "This book cannot decide" in undecided
    assert "about 36 more would decide the first thing: fed in a box" in undecided
    assert "2 meals with no outcome yet and 1 offer refused or not taken" in undecided
    assert empty.startswith("No meal in the book has an outcome yet")


def test_what_matters_comes_first(patterns: list[Pattern]) -> None:
    for found in patterns:
        said = sentences(found, SETTINGS)
        if found.named:
            assert [("They go together" in text) for text in said[2 : 2 + len(found.named)]] == [
                True
            ] * len(found.named)
        elif found.meals:
            assert said[2].startswith("This book cannot decide")


def test_every_condition_is_told_once_with_its_count(patterns: list[Pattern]) -> None:
    """What was compared has its n; all that was not is in one paragraph."""
    for found in patterns:
        said = sentences(found, SETTINGS)
        told = [text for text in said if " came back" in text and ": " in text]
        told = [t for t in told if not t.startswith(("How to", "Nothing to", "Too few", "Not dec"))]
        assert len(told) == found.looked_at + bool(found.meals)


def test_in_fahrenheit(patterns: list[Pattern]) -> None:
    fahrenheit = Settings(time_zone="UTC", show=Show(temperature="degF"))
    celsius, said = (" ".join(sentences(patterns[0], one)) for one in (SETTINGS, fahrenheit))
    assert "below 25 °C in the first 72 h" in celsius
    assert "below 77 °F in the first 72 h" in said
    assert "°C" not in said
    (dose,) = (one.of for one in patterns[0].judged if one.of.condition.startswith("degree-hours"))
    assert isinstance(dose, Amount)
    assert dose.mean_back is not None
    assert dose.response is not None
    assert f"on average {dose.mean_back * 1.8:.1f} °F·h" in said
    times, *_ = dose.response.odds_times(20 / 1.8)
    assert f"Every 20 °F·h more multiplies the odds of coming back by about {times:.2g}" in said


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (1.0, "every time"),
        (0.5, "1 in 2"),
        (1 / 3, "1 in 3"),
        (0.25, "1 in 4"),
        (0.0501, "1 in 19"),
        (0.05, "1 in 20"),
        (1e-4, "1 in 10,000"),
        (0.0, "fewer than 1 in a million"),
    ],
)
def test_a_chance_is_never_told_rarer_than_it_is(p: float, said: str) -> None:
    assert _odds(p) == said


def test_json_is_json(patterns: list[Pattern]) -> None:
    """RFC 8259 has no infinity: an end that is not there is null."""
    for found in patterns:
        text = json.dumps(found.as_json(), allow_nan=False)
        back = json.loads(text)
        assert back["named"] == [one.of.condition for one in found.named]
        assert len(back["conditions"]) == len(found.judged)


def test_the_fewest_more_meals_are_told_first() -> None:
    found = pattern(book(np.random.default_rng(2)))
    fewest, one = min(
        ((o.more_meals, o) for o in found.judged if o.more_meals is not None), key=lambda o: o[0]
    )
    assert not found.named
    assert len({o.more_meals for o in found.judged if o.more_meals is not None}) > 1
    said = next(text for text in sentences(found, SETTINGS) if text.startswith("This book cannot"))
    assert f"about {_round_up(fewest):,} more" in said
    assert said.endswith(f"{_phrase(one, SETTINGS)}.")


def test_what_is_more_different_than_chance_brings_is_told_in_full() -> None:
    """4 of 5 against 1 of 5, p 52/252: in full; 3 of 5 against 2 of 5, p 1: in a line."""
    full = sentences(pattern(dealt((4, 1, 1, 4))), SETTINGS)
    brief = sentences(pattern(dealt((3, 2, 2, 3))), SETTINGS)
    assert [text for text in full if "Not decided: meals with it came back more often" in text]
    assert [text for text in brief if text.startswith("- fed in a box: 3 of 5 came back")]
