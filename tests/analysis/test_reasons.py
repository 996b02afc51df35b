"""The reasons of a verdict, word for word, in the keeper's units and time."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import Line
from analysis.gathering import Gathered
from analysis.review import review
from analysis.window import Window
from analysis.words import hours_against, whole_hours
from analysis.zones import Disagreement
from collector.book.records import Outcome
from config.settings import Settings, Show
from tests.analysis.lines import HOUR, T0
from tests.analysis.meals import CARE, MEAL, NAN, SETTINGS, gathered, steps

WARM = steps((168, 31.0))


def reasons(line: Line | None, settings: Settings = SETTINGS) -> list[str]:
    return list(review(gathered(line), CARE, settings).reasons)


def judged(one: Gathered) -> list[str]:
    return list(review(one, CARE, SETTINGS).reasons)


def test_a_warm_meal_needs_none() -> None:
    assert reasons(WARM) == []


def test_a_limit_met_with_its_figures_in_the_homes_time() -> None:
    """T0 is Saturday 1 March 2025, 00:00 in Lisbon; 40 h on is Sunday 16:00."""
    line = steps((40, 31.0), (8, 27.0), (120, 31.0))
    assert reasons(line) == ["below 28 °C for 7 h at a stretch, from Sun 2 Mar 15:58; limit 6 h"]
    fahrenheit = Settings(time_zone="Asia/Kolkata", show=Show(temperature="degF"))
    assert reasons(line, fahrenheit) == [
        "below 82.4 °F for 7 h at a stretch, from Sun 2 Mar 21:28; limit 6 h"
    ]


def test_totals_within_their_hours_and_heat() -> None:
    line = steps((10, 31.0), (13, 24.0), (60, 31.0), (2, 37.0), (83, 31.0))
    assert reasons(line)[1:] == [
        "below 25 °C for 12 h in all in the first 72 h; limit 12 h",
        "above 36 °C for 1 h in all; limit 1 h",
    ]


def test_what_the_gaps_could_hide_comes_after_what_is_met() -> None:
    line = steps((80, 31.0), (4, 27.0), (3, NAN), (81, 31.0))
    assert reasons(line) == [
        (
            "readings are missing for 3 h; if it was cold then: below 28 °C for 7 h at a stretch, "
            "from Tue 4 Mar 07:58; limit 6 h (cool)"
        )
    ]


def test_without_a_probe_that_is_the_reason() -> None:
    one = review(gathered(None), CARE, SETTINGS)
    assert (one.verdict, one.possible, one.warm_side) == (
        "no warm-side probe",
        "no warm-side probe",
        None,
    )
    assert one.reasons == (
        "no temperature probe was placed on the warm side of where the animal was",
    )
    assert (one.coverage.known_hours, one.coverage.share) == (0.0, 0.0)
    assert one.coverage.longest_gap_hours == 168.0


def test_probes_that_disagree_are_named() -> None:
    one = replace(gathered(WARM), disagreements=(Disagreement(("a", "b"), 3.11, 1.99, 4.0),))
    assert judged(one) == [
        (
            "warm-side probes a and b were more than 2 °C apart for 3 h (1 h at a stretch, at "
            "most 4.0 °C); their mean is used"
        )
    ]


def test_progress_over_missing_readings_is_a_lower_bound() -> None:
    one = gathered(steps((80, 31.0), (30, NAN), (58, 31.0)), pct=25.0)
    assert judged(one)[-1] == (
        "82 % of the time is known: digestion has come at least as far as the progress says, and "
        "may have come further"
    )


def test_an_open_window_is_said() -> None:
    one = gathered(WARM, window=Window(T0, T0 + 20 * HOUR, "now"))
    assert judged(one) == ["the window is still open: 20 h of it so far"]


def test_a_wide_daily_swing_is_said() -> None:
    day = ((12, 31.0), (12, 22.5))
    assert judged(gathered(steps(*(day * 7))))[-1] == (
        "the warm side went up and down by 8 °C or more a day: digestion is taken to last 1.25 "
        "times as long"
    )


def test_a_warm_meal_that_came_back_points_to_a_vet() -> None:
    back = replace(MEAL, outcome=Outcome.REGURGITATED, outcome_at_ms=T0 + 41 * HOUR)
    (text,) = judged(gathered(WARM, meal=back))
    assert text.startswith(
        "see a vet: the meal came back after 41 h although the warm side was warm enough, which "
        "is typical of an infection (Clinician's Brief"
    )
    cold = gathered(steps((41, 27.0), (5, 31.0)), meal=back)
    assert not any("vet" in text for text in judged(cold))


@pytest.mark.parametrize(
    ("value_h", "text"),
    [
        (5.9999, "5 h"),
        (6.0, "6 h"),
        (6 - 1e-12, "6 h"),
        (0.999, "under 1 h"),
        (0.001, "under 1 h"),
        (0.0, "0 h"),
        (336.0, "336 h"),
    ],
)
def test_whole_hours_never_say_that_a_limit_was_reached_when_it_was_not(
    value_h: float, text: str
) -> None:
    assert whole_hours(value_h) == text


@given(st.floats(0, 400), st.floats(0.25, 48))
def test_spoken_hours_and_their_limit_say_what_was_found(value_h: float, limit_h: float) -> None:
    """A limit that was reached never reads as if it was not, nor the other way round."""
    text = hours_against(value_h, limit_h)
    spoken_h = 0.5 if text == "under 1 h" else float(text.split()[0].replace(",", ""))
    reached = value_h >= limit_h
    if text.endswith("or more"):
        assert reached or limit_h - value_h < 1e-6
    elif not reached:
        assert spoken_h < limit_h or text == "under 1 h"
    else:
        assert spoken_h >= limit_h - 1e-6
