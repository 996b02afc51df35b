"""What was different about a meal, word for word; which one thing is named; never a word of why."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.different import LEVERS, Different, Since, different_meals
from analysis.different_words import (
    BEFORE_ALL,
    closing,
    different_json,
    factor_sentence,
    headline,
    paragraphs,
    suggestion,
)
from analysis.exposure import Line
from analysis.factor_words import clear, rank_words, telling
from analysis.factors import Among, Factor
from analysis.review import review
from analysis.window import DAY_MS
from collector.book.records import FedIn, Handling, Meal, Outcome, PreyState, Shed, ShedStage
from collector.rfc3339 import parse
from config.errors import NotSo
from config.settings import Settings, Show
from tests.analysis.lines import HOUR, T0
from tests.analysis.meals import CARE, MEAL, NAN, SETTINGS, gathered, steps
from tests.analysis.test_review import NOW, imported

IMPERIAL = Settings(
    time_zone="Europe/Lisbon", show=Show(temperature="degF", mass="oz", length="in")
)
WARM, COOL = steps((168, 31.0)), steps((168, 25.0))
COLD_NIGHT = steps((10, 31.0), (8, 27.0), (23, 31.0), (127, 31.0))


def told(
    warm: Line | None = WARM,
    *,
    back_h: float | None = 90.0,
    settings: Settings = SETTINGS,
    since: Since | None = None,
    kept: int = 0,
    **more: object,
) -> Different:
    """A meal of an animal, with `kept` other ones that were as they should be."""
    fields = {name: more.pop(name) for name in tuple(more) if name.startswith(("prey", "fed"))}
    meal = replace(MEAL, prey="rat", **fields)  # type: ignore[arg-type]
    down = replace(meal, meal=2, outcome=Outcome.KEPT, outcome_at_ms=T0 + 160 * HOUR)
    if back_h is not None:
        ended = T0 + round(back_h * HOUR)
        meal = replace(meal, outcome=Outcome.REGURGITATED, outcome_at_ms=ended)
    one = gathered(warm, meal=meal, **{"cool": COOL, **more})  # type: ignore[arg-type]
    others = [
        review(gathered(WARM, cool=COOL, meal=replace(down, meal=10 + i), pct=10.0), CARE, settings)
        for i in range(kept)
    ]
    judged = review(one, CARE, settings, others)
    return Different(judged, one.of_window(), since or Since(0, 0, 0), CARE, settings)


def sentence(of: Different, name: str) -> str:
    return factor_sentence(factor(of, name), of)


def factor(of: Different, name: str) -> Factor:
    return next(one for one in of.review.factors if one.factor == name)


# ---- the sentences --------------------------------------------------------------------------


def test_what_happened_when_and_the_verdict() -> None:
    """T0 is Saturday 1 March 2025, 00:00 in Lisbon."""
    of = told(COLD_NIGHT, back_h=41.0, prey_mass_g=197.0)
    assert headline(of) == (
        "Meal 1. Maren took a 197 g rat on Sat 1 Mar 2025 at 00:00: came back after 41 h. The warm "
        "side was cool."
    )


def test_a_cold_spell_with_rule_basis_and_rank() -> None:
    of = told(COLD_NIGHT, kept=6)
    assert sentence(of, "longest cold spell") == (
        "Warm side: below 28 °C for 7 h at a stretch, from Sat 1 Mar 09:58. Rule: under 6 h at a "
        "stretch. Basis: lower edge of the preferred zone; no published figure gives the "
        "temperature at which a boa regurgitates (our own choice). Colder for longer than all 6 "
        "other meals Maren kept down."
    )
    assert sentence(of, "degree-hours below the floor").startswith(
        "Cold, by degree-hours: 8 °C·h below 28 °C. There is no rule. Basis: WikiVet"
    )


@pytest.mark.parametrize(
    ("more", "name", "metric", "imperial"),
    [
        (
            {"pct": 42.0, "prey_mass_g": 210.0, "body_g": 500.0},
            "prey share of body mass",
            "Prey mass: 42 % of its body mass (210 g of 500 g). Rule: at most 40 %.",
            "Prey mass: 42 % of its body mass (7.4 oz of 17.6 oz). Rule: at most 40 %.",
        ),
        (
            {"pct": 20.1},
            "prey share of body mass",
            "Prey mass: 20.1 % of its body mass. Rule: at most 20 %.",
            "Prey mass: 20.1 % of its body mass. Rule: at most 20 %.",
        ),
        (
            {"prey_width_mm": 43.3, "midbody": 40.0},
            "prey width over mid-body",
            "Prey width: 3.3 mm wider than the animal at mid-body. Rule: at most 3.2 mm wider.",
            # 3.3 / 25.4 = 0.1299 in, 3.2 / 25.4 = 0.1260 in: both sides of the rule stay told apart
            "Prey width: 0.13 in wider than the animal at mid-body. Rule: at most 0.126 in wider.",
        ),
        (
            {"prey_width_mm": 30.0, "midbody": 40.0},
            "prey width over mid-body",
            "Prey width: 10 mm narrower than the animal at mid-body. Rule: at most 3.2 mm wider.",
            "Prey width: 0.39 in narrower than the animal at mid-body. Rule: at most 0.126 in",
        ),
        (
            {"prey_surface_c": 21.5},
            "prey surface contrast",
            (
                "Prey warmth: surface 21.5 °C, 3.5 °C colder than the cool side. Rule: at least "
                "10 °C warmer than the enclosure."
            ),
            # 21.5 °C = 70.7 °F; 3.5 K = 6.3 °F; 10 K = 18 °F
            (
                "Prey warmth: surface 70.7 °F, 6.3 °F colder than the cool side. Rule: at least "
                "18 °F warmer than the enclosure."
            ),
        ),
        (
            {"before": Meal(0, "Maren", taken_at_ms=T0 - round(6.99 * DAY_MS)), "age_months": 40},
            "days since the meal before",
            "Interval: 6.99 days after the meal before. Rule: at least 7 days.",
            "Interval: 6.99 days after the meal before. Rule: at least 7 days.",
        ),
        (
            {"handlings": [Handling("Maren", T0 + 20 * HOUR)]},
            "handled within 48 h",
            "Handling: handled 20 h after it. Rule: no handling for 48 h.",
            "Handling: handled 20 h after it. Rule: no handling for 48 h.",
        ),
        (
            {"sheds": [Shed("Maren", T0 + 5 * DAY_MS)]},
            "shed near",
            (
                "Shed: old skin found 5 days after it. Rule: no meal in shed, nor within 7 days "
                "before the skin comes off."
            ),
            (
                "Shed: old skin found 5 days after it. Rule: no meal in shed, nor within 7 days "
                "before the skin comes off."
            ),
        ),
        (
            {"sheds": [Shed("Maren", T0 - 2 * DAY_MS, stage=ShedStage.IN_SHED)]},
            "shed near",
            (
                "Shed: in shed at the meal, noted on Thu 27 Feb. Rule: no meal in shed, nor "
                "within 7 days before the skin comes off."
            ),
            (
                "Shed: in shed at the meal, noted on Thu 27 Feb. Rule: no meal in shed, nor "
                "within 7 days before the skin comes off."
            ),
        ),
        (
            {"humidity": steps((60, 40.0), (40, 60.0))},
            "humidity out of range",
            "Humidity: humidity outside 50 to 80 % for 60 % of the known time.",
            "Humidity: humidity outside 50 to 80 % for 60 % of the known time.",
        ),
    ],
)
def test_every_figure_in_the_keepers_units(
    more: dict[str, object], name: str, metric: str, imperial: str
) -> None:
    back_h = 100.0
    assert sentence(told(back_h=back_h, **more), name).startswith(metric)  # type: ignore[arg-type]
    there = told(back_h=back_h, settings=IMPERIAL, **more)  # type: ignore[arg-type]
    assert sentence(there, name).startswith(imperial)


@pytest.mark.parametrize(
    ("among", "text"),
    [
        (None, ""),
        (Among(6, 1), "Larger for its body than all 6 other meals Maren kept down"),
        (Among(1, 1), ("Larger for its body than the one other meal Maren kept down, too few to "
         "call it unusual")),
        (Among(23, 2), "1 of the 23 other meals Maren kept down was as large, or larger"),
        (Among(23, 4), "3 of the 23 other meals Maren kept down were as large, or larger"),
        (Among(23, 24), "All 23 other meals Maren kept down were as large, or larger"),
        (Among(1, 2), "The one other meal Maren kept down was as large, or larger"),
    ],
)  # fmt: skip
def test_ranks_in_words(among: Among | None, text: str) -> None:
    of = told(pct=30.0)
    assert rank_words(replace(factor(of, "prey share of body mass"), among=among), of) == text


@given(st.floats(-100, 100), st.floats(-50, 50), st.integers(0, 2))
def test_a_spoken_number_never_changes_the_side_of_its_limit(
    value: float, limit: float, decimals: int
) -> None:
    spoken = float(clear(value, limit, decimals).replace("−", "-"))
    if abs(value - limit) > 1e-4:
        assert (spoken > limit) == (value > limit)
        assert (spoken < limit) == (value < limit)
    assert spoken == pytest.approx(value, abs=0.5)


# ---- the order ------------------------------------------------------------------------------


def test_what_breaks_a_rule_comes_first_and_the_ordinary_is_one_line() -> None:
    of = told(
        COLD_NIGHT,
        kept=6,
        pct=11.0,
        handlings=[Handling("Maren", T0 + 20 * HOUR)],
        prey_state=PreyState.THAWED,
    )
    headings = [heading for heading, _ in paragraphs(of)]
    assert headings == [
        "Breaks a rule",
        "Unusual for Maren",
        "Ordinary",
        "Not known",
        "One thing to change",
    ]
    lines = dict(paragraphs(of))
    assert [line.split(":")[0] for line in lines["Breaks a rule"]] == ["Warm side", "Handling"]
    assert lines["Ordinary"] == [
        "Warm side never below 25 °C in the first 72 h; warm side never above 36 °C; prey thawed."
    ]


def test_a_warm_side_never_below_its_floor_is_said_once() -> None:
    (line,) = dict(paragraphs(told(kept=6, pct=10.0)))["Ordinary"]
    assert line == (
        "Warm side never below 28 °C; warm side never above 36 °C; prey 10 % of its body mass; no "
        "handling entered."
    )


def test_what_is_not_known_says_how_to_know_it_next_time() -> None:
    lines = dict(paragraphs(told(None, cool=None)))["Not known"]
    assert lines == [
        "Warm side: no probe lay on the warm side. Next time: place one there.",
        (
            "Prey mass: prey mass was not entered. Next time: weigh the prey, or enter the mass "
            "it is sold by."
        ),
        "Prey width: prey width was not entered. Next time: measure the prey at its widest.",
        "Interval: no meal before it is in the book.",
        (
            "Prey warmth: the prey's surface was not read. Next time: read it with an infrared "
            "thermometer set to 0.95 as the prey is offered."
        ),
        "Prey state: how the prey came was not entered. Next time: enter thawed, fresh or live.",
        "Place: where it was fed was not entered. Next time: enter enclosure or box.",
        "Shed: no shed of Maren is in the book. Next time: enter each one (warmcoil shed).",
        "Humidity: no humidity probe was there. Next time: place one.",
    ]


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({"warm": steps((80, 31.0), (7, NAN), (81, 31.0)), "back_h": None},
         "Warm side: readings are missing for 7 h, and could hide a broken rule."),
        ({"warm": None, "back_h": 41.0},
         "Time to coming back: came back after 41 h; whether that is for a vet goes by the warm"),
        ({"prey_mass_g": 100.0}, "Maren was not weighed within 90 days before it"),
        ({"prey_width_mm": 30.0}, "Maren was not measured at mid-body within 90 days"),
        ({"prey_surface_c": 36.0, "fed_in": FedIn.BOX}, "how warm the box was"),
        ({"prey_surface_c": 36.0, "cool": None},
         "surface 36.0 °C, 5 °C warmer than the warm side; the cool side was not read"),
        ({"prey_surface_c": 36.0, "cool": None, "warm": None}, "the enclosure was not read"),
        ({"prey_state": PreyState.LIVE},
         ("Prey state: live, but it takes 5 other meals that Maren kept down to set it beside "
         "(none so far).")),
        ({"before": Meal(0, "Maren", taken_at_ms=T0 - 8 * DAY_MS)},
         "8 days after the meal before; whether that is too soon goes by age"),
        ({"before": Meal(0, "Maren", taken_at_ms=T0 - 20 * DAY_MS, outcome=Outcome.VOMITED)},
         "when the meal before came back was not entered"),
        ({"sheds": [Shed("Maren", T0 - 60 * DAY_MS)], "now_ms": T0 + 5 * DAY_MS},
         "Shed: a skin may still come off until Sat 8 Mar."),
        ({"humidity": steps((40, 40.0), (30, NAN), (30, 60.0)), "back_h": 100.0},
         "and the rest was not read"),
    ],
)  # fmt: skip
def test_each_thing_not_known_has_its_own_reason(more: dict[str, object], text: str) -> None:
    lines = dict(paragraphs(told(**more)))["Not known"]  # type: ignore[arg-type]
    assert any(text in line for line in lines), lines


# ---- the one thing --------------------------------------------------------------------------


BROKEN: dict[str, dict[str, object]] = {
    "heat": {"warm": steps((80, 31.0), (3, 37.0), (85, 31.0))},
    "cold": {"warm": COLD_NIGHT},
    "prey size": {"pct": 30.0},
    "interval": {
        "before": Meal(0, "Maren", taken_at_ms=T0 - 4 * DAY_MS),
        "age_months": 40,
    },
    "handling": {"handlings": [Handling("Maren", T0 + 20 * HOUR)]},
    "prey warmth": {"prey_surface_c": 21.0},
    "shed": {"sheds": [Shed("Maren", T0 + 5 * DAY_MS)]},
    "air": {"humidity": steps((168, 30.0))},
}


@pytest.mark.parametrize("lever", BROKEN)
def test_a_broken_rule_alone_is_the_one_thing(lever: str) -> None:
    of = told(**BROKEN[lever])  # type: ignore[arg-type]
    change = of.change
    assert change is not None
    assert (change.lever, change.broken) == (lever, (lever,))
    assert len(suggestion(of)) == 2
    assert "Ground: " in suggestion(of)[0]
    assert suggestion(of)[0].endswith("breaks the rule.")


def test_of_several_the_first_in_the_stated_order() -> None:
    """Temperature, then the usual reasons of common practice, one by one."""
    names = list(BROKEN)
    assert names == [lever for lever in LEVERS if lever in BROKEN]
    for first, second in pairwise(names[1:]):
        both = told(**{**BROKEN[second], **BROKEN[first]})  # type: ignore[arg-type]
        assert both.change is not None
        assert both.change.lever == first
        assert set(both.change.broken) == {first, second}
        assert any("only changing one at a time" in line for line in suggestion(both))


def test_a_broken_rule_beats_what_is_unusual() -> None:
    of = told(kept=6, pct=15.0, humidity=steps((168, 30.0)))
    assert factor(of, "prey share of body mass").finding == "unusual for this animal"
    assert of.change is not None
    assert of.change.lever == "air"
    alone = told(kept=6, pct=15.0)
    assert alone.change is not None
    assert (alone.change.lever, alone.change.broken) == ("prey size", ())
    assert "Ground: prey mass is unusual for Maren." in suggestion(alone)[0]


def test_nothing_that_stands_out_is_said_and_no_lever_made_up() -> None:
    of = told(kept=6, pct=10.0)
    assert of.change is None
    first, then = suggestion(of)
    assert first.startswith("Nothing that was entered or read breaks a rule or is unusual")
    assert then.startswith("Wait 14 days")


def test_a_vet_comes_first() -> None:
    of = told(back_h=41.0, pct=42.0, prey_mass_g=420.0, body_g=1000.0)
    assert paragraphs(of)[0][0] == "See a vet"
    assert suggestion(of)[:2] == [
        "First see a vet.",
        (
            "If the vet finds nothing: offer smaller prey, at most 20 % of its body mass (200 g at "
            "1,000 g). Ground: prey mass breaks the rule."
        ),
    ]


def test_how_to_begin_again_small() -> None:
    """14 days' rest, then half the size: trade rule (from memory). T0 + 41 h is Sunday 2 March."""
    of = told(COLD_NIGHT, back_h=41.0, prey_mass_g=197.0)
    assert suggestion(of)[-1] == (
        "Change only that, wait 14 days, until Sun 16 Mar, then start small: a meal half the size, "
        "about 98 g (trade rule, 7-14 days (from memory))."
    )
    (_, then) = suggestion(told(COLD_NIGHT, back_h=41.0, since=Since(1, 1, 0)))
    assert then == "Since then Maren took 1 meal: 1 stayed down, 0 came back."
    later = told(COLD_NIGHT, back_h=41.0, since=Since(4, 2, 1))
    assert suggestion(later)[-1] == (
        "Since then Maren took 4 meals: 2 stayed down, 1 came back, 1 without an outcome yet."
    )


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({"prey_width_mm": 50.0, "midbody": 40.0}, "offer narrower prey, at most 43.2 mm"),
        (
            {
                "before": Meal(
                    0,
                    "Maren",
                    taken_at_ms=T0 - 12 * DAY_MS,
                    outcome=Outcome.REGURGITATED,
                    outcome_at_ms=T0 - 10 * DAY_MS,
                ),
                "age_months": 40,
            },
            "let it rest for 14 days after a meal that came back, then half the size",
        ),
        (BROKEN["cold"], "keep the warm side at 28 °C or more"),
        (BROKEN["heat"], "keep the warm side under 36 °C"),
        (BROKEN["interval"], "leave at least 7 days between meals"),
        (BROKEN["handling"], "leave it alone for 48 h"),
        (BROKEN["prey warmth"], "at least 10 °C warmer than the enclosure"),
        (BROKEN["shed"], "until the old skin is off"),
        (BROKEN["air"], "bring humidity to 50 to 80 %"),
    ],
)
def test_the_suggestions(more: dict[str, object], text: str) -> None:
    lines = suggestion(told(**more))  # type: ignore[arg-type]
    assert any(text.lower() in line.lower() for line in lines), lines


def test_a_meal_kept_down_gets_no_suggestion() -> None:
    of = told(COLD_NIGHT, back_h=None)
    assert (of.change, suggestion(of), closing([of])) == (None, [], [])
    assert closing([told()]) == [BEFORE_ALL]


# ---- laws -----------------------------------------------------------------------------------

anything = st.fixed_dictionaries(
    {
        "warm": st.sampled_from([WARM, COLD_NIGHT, None, steps((30, 31.0), (60, NAN), (78, 31.0))]),
        "back_h": st.sampled_from([None, 20.0, 41.0, 90.0]),
        "kept": st.sampled_from([0, 1, 4, 6]),
        "pct": st.sampled_from([None, 10.0, 25.0, 45.0]),
        "midbody": st.sampled_from([None, 40.0]),
        "prey_width_mm": st.sampled_from([None, 43.2, 50.0]),
        "prey_surface_c": st.sampled_from([None, 22.0, 37.0, 41.0]),
        "cool": st.sampled_from([None, COOL]),
        "fed_in": st.sampled_from([None, *FedIn]),
        "prey_state": st.sampled_from([None, *PreyState]),
        "sheds": st.sampled_from(
            [[], [Shed("Maren", T0 + DAY_MS)], [Shed("Maren", T0 - 60 * DAY_MS)]]
        ),
        "handlings": st.sampled_from([[], [Handling("Maren", T0 + 20 * HOUR)]]),
    }
)


@given(anything)
def test_every_factor_is_told_once_in_words_that_claim_no_cause(more: dict[str, object]) -> None:
    of = told(**more)  # type: ignore[arg-type]
    text = json.dumps([headline(of), paragraphs(of), different_json(of)])
    assert not re.search(r"caus|because|due to|therefore|nan|None\b", text.replace("null", ""))
    names = [one.factor for one in of.review.factors]
    assert len(names) == len(set(names))
    for one in of.review.factors:
        assert telling(one, of).value
        assert (one.finding == "unknown") == (
            different_json(of)["factors"][names.index(one.factor)]["not_known"] is not None  # type: ignore[index]
        )


@given(anything)
def test_units_change_words_only(more: dict[str, object]) -> None:
    here, there = told(**more), told(settings=IMPERIAL, **more)  # type: ignore[arg-type]
    assert here.review.factors == there.review.factors
    assert here.change == there.change
    assert [heading for heading, _ in paragraphs(here)] == [
        heading for heading, _ in paragraphs(there)
    ]
    text = str(paragraphs(there)) + headline(there)
    for one in there.review.factors:
        text = text.replace(one.basis, "")
    assert not re.search(r"\d (°C|g|mm)\b", text)


# ---- a whole book ---------------------------------------------------------------------------


def test_a_season_told(tmp_path: Path) -> None:
    with imported(tmp_path, 1) as kept:

        def tell(**more: object) -> tuple[list[Different], int]:
            return different_meals(
                kept.book, kept.reader, CARE, SETTINGS, parse(NOW), **more  # type: ignore[arg-type]
            )  # fmt: skip

        reviews = kept.reviews()
        back = [one for one in reviews if one.outcome is not None and one.outcome.came_back]
        told_back, others = tell()
        assert back
        assert others == len(reviews) - len(back)
        assert [one.review.meal for one in told_back] == [one.meal for one in reversed(back)]
        assert [one.review for one in told_back] == list(reversed(back))
        every, none = tell(also_kept=True)
        assert none == 0
        assert [one.came_back for one in every] == sorted(
            (one.came_back for one in every), reverse=True
        )
        assert {one.review.meal for one in every} == {one.meal for one in reviews}
        times = [one.review.taken_at_ms for one in every[len(back) :]]
        assert times == sorted(times, reverse=True)
        (one,), _ = tell(meal=reviews[0].meal)
        assert one.review == reviews[0]
        later = [r for r in reviews if r.animal == one.review.animal][1:]
        assert one.since.taken == len(later)
        with pytest.raises(NotSo, match=f"is {reviews[0].animal}'s, not Someone's"):
            tell(meal=reviews[0].meal, animal="Someone")


def test_another_meal_that_came_back_changes_no_rank(tmp_path: Path) -> None:
    with imported(tmp_path, 1) as kept:
        before = {one.meal: one.factors for one in kept.reviews(animal="Maren")}
        last = max(m.taken_at_ms or 0 for m in kept.book.meals("Maren"))
        kept.book.put(
            Meal(
                0,
                "Maren",
                taken_at_ms=last + 4 * HOUR,
                prey_mass_g=400.0,
                outcome=Outcome.REGURGITATED,
                outcome_at_ms=last + 6 * HOUR,
            )
        )
        after = {one.meal: one for one in kept.reviews(animal="Maren")}
        for number, factors in before.items():
            if after[number].window.ended_by == "next meal":
                continue  # its own window was cut by the new meal
            assert [f.among for f in after[number].factors] == [f.among for f in factors]
