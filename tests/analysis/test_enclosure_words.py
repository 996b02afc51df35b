"""An enclosure in one sentence."""

from __future__ import annotations

import pytest

from analysis.enclosure_words import (
    Warmth,
    digesting_sentence,
    enclosure_sentence,
    warmth_sentence,
)
from collector.book.records import Meal
from config.settings import Settings

SETTINGS = Settings()
DAY = 86_400_000


@pytest.mark.parametrize(
    ("warm", "said"),
    [
        (Warmth(31.24, 5.0, 0.1), "31.2 °C on the warm side, steady"),
        (Warmth(31.24, 5.0, -0.49), "31.2 °C on the warm side, steady"),
        (Warmth(31.24, 5.0, -0.5), "31.2 °C on the warm side, down 0.5 °C in the last hour"),
        (Warmth(31.24, 5.0, 1.3), "31.2 °C on the warm side, up 1.3 °C in the last hour"),
        (Warmth(31.24, 5.0, None), "31.2 °C on the warm side"),
        (Warmth(31.24, 7300.0, 0.1), "31.2 °C on the warm side 2 h ago, nothing heard since"),
        (Warmth(), "warm side not known"),
    ],
)
def test_the_warm_side(warm: Warmth, said: str) -> None:
    assert warmth_sentence(warm, SETTINGS) == said


def test_with_its_meals() -> None:
    meal = Meal(1, "Maren", taken_at_ms=0, prey="rat", prey_mass_g=220.0)
    digesting = digesting_sentence(meal, 3 * DAY + 1, "now", 8.1, SETTINGS)
    assert digesting == "Maren: day 4 of about 8 of a 220 g rat"
    assert enclosure_sentence("left shelf", Warmth(31.2, 5.0, 0.0), [digesting], SETTINGS) == (
        "left shelf: 31.2 °C on the warm side, steady; Maren: day 4 of about 8 of a 220 g rat"
    )
    assert enclosure_sentence("\u202e", Warmth(), [], SETTINGS) == "Enclosure: warm side not known"
