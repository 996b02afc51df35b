"""Factors: each rule on both sides of its limit, what is missing, and what is unusual."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import Line, line_of
from analysis.factors import Among, Factor, StayedDown, findings
from analysis.gathering import Gathered
from analysis.measured import Measured, basis_text, measured
from analysis.verdict import Verdict, held_against
from analysis.window import DAY_MS
from collector.book.records import FedIn, Handling, Meal, Outcome, PreyState, Shed, ShedStage
from tests.analysis.lines import GAP_MS, HOUR, T0
from tests.analysis.meals import CARE, MEAL, NAN, gathered, steps

WARM = steps((168, 31.0))


def factors(one: Gathered, verdict: Verdict = "warm enough") -> dict[str, Factor]:
    held = held_against(one.warm, one.window, CARE) if one.warm is not None else ()
    found = findings(measured(one, held, verdict, CARE), StayedDown([]), is_one=False)
    return {factor.factor: factor for factor in found}


def mine(one: Gathered) -> list[Measured]:
    held = held_against(one.warm, one.window, CARE) if one.warm is not None else ()
    return measured(one, held, "warm enough", CARE)


def finding(one: Gathered, name: str, verdict: Verdict = "warm enough") -> tuple[object, str]:
    factor = factors(one, verdict)[name]
    return factor.value, factor.finding


# ---- the warm side --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "hours", "found"),
    [
        ([(168, 31.0)], 0.0, "ordinary"),
        ([(40, 31.0), (8, 27.0), (120, 31.0)], 7.96, "breaks the rule"),
        ([(40, 31.0), (4, 27.0), (124, 31.0)], 3.96, "ordinary"),
        ([(40, 31.0), (4, 27.0), (3, NAN), (121, 31.0)], 3.94, "unknown"),
    ],
)
def test_longest_cold_spell(parts: list[tuple[float, float]], hours: float, found: str) -> None:
    factor = factors(gathered(steps(*parts)))["longest cold spell"]
    assert (factor.limit, factor.finding) == (6.0, found)
    assert factor.value == pytest.approx(hours, abs=0.02)
    assert factor.basis.startswith("lower edge of the preferred zone")


def test_hours_too_hot_are_not_called_ordinary_over_a_gap_that_could_hide_them() -> None:
    name = "hours too hot"
    assert finding(gathered(WARM), name) == (0.0, "ordinary")
    assert finding(gathered(steps((80, 31.0), (2, NAN), (86, 31.0))), name) == (0.0, "unknown")
    assert finding(gathered(steps((80, 31.0), (2, 37.0), (86, 31.0))), name)[1] == "breaks the rule"


def test_every_limit_of_the_profile_has_a_factor_of_its_own() -> None:
    names = list(factors(gathered(WARM)))
    assert names[:4] == [
        "longest cold spell",
        "hours below 25 °C in the first 72 h",
        "hours below 22 °C in the first 72 h",
        "hours too hot",
    ]
    assert len(names) == len(set(names))


def test_without_a_warm_side_probe_nothing_is_known_of_it() -> None:
    found = factors(gathered(None), "no warm-side probe")
    for name in ("longest cold spell", "hours too hot", "degree-hours below the floor"):
        assert (found[name].value, found[name].finding) == (None, "unknown")


def test_degree_hours_below_the_floor_have_no_rule() -> None:
    factor = factors(gathered(steps((40, 31.0), (8, 27.0), (120, 31.0))))[
        "degree-hours below the floor"
    ]
    assert factor.value == pytest.approx(8.0, abs=0.1)
    assert (factor.limit, factor.finding) == (None, "unknown")


# ---- the prey -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pct", "limit", "found"),
    [
        (None, 20.0, "unknown"),
        (12.0, 20.0, "ordinary"),
        (20.0, 20.0, "ordinary"),
        (20.1, 20.0, "breaks the rule"),
        (41.0, 40.0, "breaks the rule"),
    ],
)
def test_prey_share(pct: float | None, limit: float, found: str) -> None:
    """Over 20 % say so, over 40 % warn (Gavira & Andrade 2013)."""
    factor = factors(gathered(WARM, pct=pct))["prey share of body mass"]
    assert (factor.value, factor.limit, factor.finding) == (pct, limit, found)
    assert ("Gavira" in factor.basis) == (limit == 40.0)


@pytest.mark.parametrize(
    ("width", "midbody", "found"),
    [
        (43.0, 40.0, "ordinary"),
        (43.3, 40.0, "breaks the rule"),
        (None, 40.0, "unknown"),
        (43.0, None, "unknown"),
    ],
)
def test_prey_width(width: float | None, midbody: float | None, found: str) -> None:
    """No more than 1/8 inch (3.2 mm) wider than mid-body: common practice."""
    meal = replace(MEAL, prey_width_mm=width)
    factor = factors(gathered(WARM, meal=meal, midbody=midbody))["prey width over mid-body"]
    assert (factor.limit, factor.finding, factor.basis) == (3.2, found, "common practice")


COOL = steps((168, 25.0))


@pytest.mark.parametrize(
    ("surface_c", "warm", "cool", "contrast", "found"),
    [
        # Over the cool side, whatever the warm side was.
        (35.0, WARM, COOL, 10.0, "ordinary"),
        (34.9, WARM, COOL, 9.9, "breaks the rule"),
        (21.5, None, COOL, -3.5, "breaks the rule"),
        # The cool side not read: enough over the warm side is enough; too little even over the
        # low end of the profile's cool side (24 °C) is too little; between, it cannot be told.
        (41.0, WARM, None, 10.0, "ordinary"),
        (40.9, WARM, None, 9.9, "unknown"),
        (34.0, WARM, None, 3.0, "unknown"),
        (33.9, WARM, None, 2.9, "breaks the rule"),
        (33.9, WARM, steps((1, NAN), (100, 25.0)), 2.9, "breaks the rule"),
        (None, WARM, COOL, None, "unknown"),
        (41.0, steps((1, NAN), (100, 31.0)), None, None, "unknown"),
        (41.0, None, None, None, "unknown"),
    ],
)
def test_prey_surface_contrast(
    surface_c: float | None,
    warm: Line | None,
    cool: Line | None,
    contrast: float | None,
    found: str,
) -> None:
    """10 °C above its surroundings: De Cock Buning 1983, J. Comp. Physiol. A 151:461."""
    one = gathered(warm, cool=cool, meal=replace(MEAL, prey_surface_c=surface_c))
    value, got = finding(one, "prey surface contrast")
    assert got == found
    assert value == (pytest.approx(contrast) if contrast is not None else None)


def test_prey_in_a_box_is_not_held_against_the_enclosure() -> None:
    meal = replace(MEAL, prey_surface_c=21.5, fed_in=FedIn.BOX)
    assert finding(gathered(WARM, cool=COOL, meal=meal), "prey surface contrast") == (
        None,
        "unknown",
    )


def test_contrasts_with_different_sides_are_not_set_beside_each_other() -> None:
    meal = replace(MEAL, prey_surface_c=36.0)
    over_warm, over_cool = gathered(WARM, meal=meal), gathered(WARM, cool=COOL, meal=meal)
    down = StayedDown(mine(over_cool) for _ in range(6))
    (of_warm,) = [
        f for f in findings(mine(over_warm), down, is_one=False) if "contrast" in f.factor
    ]
    (of_cool,) = [
        f for f in findings(mine(over_cool), down, is_one=False) if "contrast" in f.factor
    ]
    assert (of_warm.among, of_cool.among) == (None, Among(6, 7))
    assert of_warm.basis.endswith("the cool side was not read")


def test_prey_state_and_where_it_was_fed_are_words() -> None:
    meal = replace(MEAL, prey_state=PreyState.THAWED, fed_in=FedIn.BOX)
    found = factors(gathered(WARM, meal=meal))
    assert (found["prey state"].value, found["fed in"].value) == ("thawed", "box")
    assert found["fed in"].finding == "unknown"  # no rule, and nothing to set it beside


# ---- the keeper -----------------------------------------------------------------------------


def before(days: float, **fields: object) -> Meal:
    return Meal(meal=0, animal="Maren", taken_at_ms=T0 - round(days * DAY_MS), **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("days", "age_months", "limit", "found"),
    [
        (9.0, 5, 10.0, "breaks the rule"),
        (10.0, 5, 10.0, "ordinary"),
        (6.0, 6, 7.0, "breaks the rule"),
        (7.0, 6, 7.0, "ordinary"),
        # Age not known: too soon for any, late enough for any, or not to be told.
        (6.0, None, 7.0, "breaks the rule"),
        (8.0, None, 10.0, "unknown"),
        (10.0, None, 10.0, "ordinary"),
    ],
)
def test_days_since_the_meal_before(
    days: float, age_months: int | None, limit: float, found: str
) -> None:
    """Under 6 months every 10–14 days, from then 7–10: common practice."""
    one = gathered(WARM, before=before(days), age_months=age_months)
    factor = factors(one)["days since the meal before"]
    assert factor.value == pytest.approx(days)
    assert (factor.limit, factor.finding) == (limit, found)


@pytest.mark.parametrize(
    ("hours", "found"), [(7 * 24 - 10, "ordinary"), (7 * 24 - 23, "breaks the rule")]
)
def test_the_interval_counts_calendar_days_as_the_next_meal_does(hours: float, found: str) -> None:
    """From the morning's or the late evening's clock alike: a week is the same weekday."""
    at_ten = Meal(2, "Ombra", taken_at_ms=T0 - T0 % DAY_MS + 10 * 3_600_000)
    earlier = Meal(1, "Ombra", taken_at_ms=(at_ten.taken_at_ms or 0) - round(hours * 3_600_000))
    one = gathered(WARM, meal=at_ten, before=earlier, age_months=6)
    factor = factors(one)["days since the meal before"]
    assert factor.value == pytest.approx(hours / 24)
    assert factor.finding == found


def test_after_a_meal_that_came_back_it_rests() -> None:
    """Wait 14 days (trade rule, 7–14, from memory)."""
    name = "days since the meal before came back"
    assert name not in factors(gathered(WARM, before=before(20)))
    back = before(20, outcome=Outcome.REGURGITATED, outcome_at_ms=T0 - 13 * DAY_MS)
    factor = factors(gathered(WARM, before=back))[name]
    assert (factor.value, factor.limit, factor.finding) == (13.0, 14.0, "breaks the rule")
    assert factor.basis.endswith("(from memory)")
    unknown = before(20, outcome=Outcome.VOMITED)
    assert finding(gathered(WARM, before=unknown), name) == (None, "unknown")


@pytest.mark.parametrize(
    ("hours", "value", "found"),
    [
        ([], None, "ordinary"),
        ([60.0], 60.0, "ordinary"),
        ([60.0, 5.0], 5.0, "breaks the rule"),
        ([47.9], 47.9, "breaks the rule"),
        ([48.0], 48.0, "ordinary"),
        ([-0.1], 0.0, "breaks the rule"),
    ],
)
def test_handling(hours: list[float], value: float | None, found: str) -> None:
    """48 h: common practice. One still going on when the meal was taken counts as at once."""
    handled = [Handling("Maren", round(T0 + h * HOUR), 10.0) for h in hours]
    got, name = finding(gathered(WARM, handlings=handled), "handled within 48 h")
    assert (got, name) == (pytest.approx(value) if value is not None else None, found)


def shed(days: float, stage: ShedStage = ShedStage.SHED) -> Shed:
    return Shed("Maren", T0 + round(days * DAY_MS), stage=stage)


def dull(days: float) -> Shed:
    return shed(days, ShedStage.IN_SHED)


LONG_AGO = shed(-60)


@pytest.mark.parametrize(
    ("sheds", "value", "found"),
    [
        ([], None, "unknown"),
        ([LONG_AGO], None, "ordinary"),
        # In shed at the meal: noted up to 21 days before, the skin not off by then.
        ([LONG_AGO, dull(-3)], 0.0, "breaks the rule"),
        ([dull(0)], 0.0, "breaks the rule"),
        ([dull(-21)], 0.0, "breaks the rule"),
        ([dull(-21.1)], None, "ordinary"),
        ([dull(-3), shed(-0.1)], None, "ordinary"),
        ([dull(-3), shed(0)], None, "ordinary"),
        ([dull(-3), shed(4)], 0.0, "breaks the rule"),
        # The skin found within 7 days after it.
        ([LONG_AGO, shed(0.5)], 0.5, "breaks the rule"),
        ([shed(7)], 7.0, "breaks the rule"),
        ([shed(7.1)], None, "ordinary"),
        # Dull eyes seen only after the meal say nothing yet of the meal.
        ([LONG_AGO, dull(1)], None, "ordinary"),
        ([dull(1), shed(6)], 6.0, "breaks the rule"),
    ],
)
def test_shed_near(sheds: list[Shed], value: float | None, found: str) -> None:
    """No meal in shed: common practice; the days are our own choice and from memory."""
    assert finding(gathered(WARM, sheds=sheds), "shed near") == (value, found)
    assert factors(gathered(WARM, sheds=sheds))["shed near"].limit == 7.0


def test_a_skin_may_still_come_off_after_a_fresh_meal() -> None:
    for days, found in ((6.9, "unknown"), (7.0, "ordinary")):
        one = gathered(WARM, sheds=[LONG_AGO], now_ms=T0 + round(days * DAY_MS))
        assert finding(one, "shed near") == (None, found)


def test_a_shed_is_ranked_by_its_days() -> None:
    down = StayedDown(mine(gathered(WARM, sheds=sheds)) for sheds in [[LONG_AGO]] * 5 + [[shed(6)]])

    def rank(*sheds: Shed) -> Among | None:
        one = findings(mine(gathered(WARM, sheds=sheds)), down, is_one=False)
        return next(f.among for f in one if f.factor == "shed near")

    assert rank(shed(5)) == Among(6, 1)
    assert rank(shed(6.5)) == Among(6, 2)
    assert rank(LONG_AGO) == Among(6, 7)
    assert rank() is None


# ---- air, and the end -----------------------------------------------------------------------


def humid(*parts: tuple[float, float]) -> Line:
    return steps(*parts)


@pytest.mark.parametrize(
    ("parts", "share", "found"),
    [
        ([(168, 60.0)], 0.0, "ordinary"),
        ([(50, 40.0), (50, 90.0), (68, 60.0)], 0.595, "breaks the rule"),
        ([(50, 40.0), (118, 60.0)], 0.298, "ordinary"),
        ([(50, 40.0), (60, NAN), (58, 60.0)], 0.463, "unknown"),
    ],
)
def test_humidity_out_of_range(parts: list[tuple[float, float]], share: float, found: str) -> None:
    value, got = finding(gathered(WARM, humidity=humid(*parts)), "humidity out of range")
    assert (value, got) == (pytest.approx(share, abs=0.002), found)
    assert finding(gathered(WARM), "humidity out of range") == (None, "unknown")


@pytest.mark.parametrize(
    ("hours", "verdict", "found"),
    [
        (23.9, "warm enough", "ordinary"),
        (24.0, "warm enough", "breaks the rule"),
        (72.0, "warm enough", "breaks the rule"),
        (72.1, "warm enough", "ordinary"),
        (41.0, "cool", "ordinary"),
        (41.0, "not enough readings", "unknown"),
        (None, "warm enough", "unknown"),
    ],
)
def test_coming_back_after_one_to_three_days_though_warm(
    hours: float | None, verdict: Verdict, found: str
) -> None:
    """Typical of cryptosporidiosis (Clinician's Brief): a vet's matter."""
    back_ms = T0 + round(hours * HOUR) if hours is not None else None
    meal = replace(MEAL, outcome=Outcome.REGURGITATED, outcome_at_ms=back_ms)
    value, got = finding(gathered(WARM, meal=meal), "hours from meal to coming back", verdict)
    assert (value, got) == (hours, found)
    assert "hours from meal to coming back" not in factors(gathered(WARM))


# ---- beside the same animal's other meals ---------------------------------------------------


def cold_nights(*hours: float) -> StayedDown:
    lines = [steps((40, 31.0), (h, 27.0), (128 - h, 31.0)) if h else WARM for h in hours]
    return StayedDown(
        measured(one, held_against(line, one.window, CARE), "warm enough", CARE)
        for line in lines
        for one in [gathered(line, meal=replace(MEAL, fed_in=FedIn.ENCLOSURE))]
    )


def beside(
    down: StayedDown, hours: float, *, is_one: bool = False, fed_in: FedIn | None = None
) -> dict[str, Factor]:
    line = steps((40, 31.0), (hours, 27.0), (128 - hours, 31.0)) if hours else WARM
    one = gathered(line, meal=replace(MEAL, fed_in=fed_in))
    mine = measured(one, held_against(line, one.window, CARE), "warm enough", CARE)
    return {factor.factor: factor for factor in findings(mine, down, is_one=is_one)}


@pytest.mark.parametrize(
    ("hours", "rank", "found"),
    [(3.0, 1, "unusual for this animal"), (2.0, 2, "ordinary"), (1.0, 4, "ordinary")],
)
def test_unusual_is_beyond_all_that_it_kept_down(hours: float, rank: int, found: str) -> None:
    factor = beside(cold_nights(0, 0, 1, 1, 2), hours)["longest cold spell"]
    assert (factor.among, factor.finding) == (Among(5, rank), found)


def test_four_meals_are_too_few_to_call_one_unusual() -> None:
    factor = beside(cold_nights(0, 0, 1, 1), 5.0)["longest cold spell"]
    assert (factor.among, factor.finding) == (Among(4, 1), "ordinary")
    dose = beside(cold_nights(0, 0, 1, 1), 5.0)["degree-hours below the floor"]
    assert (dose.among, dose.finding) == (Among(4, 1), "unknown")
    assert beside(cold_nights(), 5.0)["longest cold spell"].among is None


def test_a_meal_is_not_set_beside_itself() -> None:
    down = cold_nights(0, 0, 1, 1, 2, 3)
    assert beside(down, 3.0, is_one=True)["longest cold spell"].among == Among(5, 1)
    alone = beside(cold_nights(3), 3.0, is_one=True)["longest cold spell"]
    assert (alone.among, alone.finding) == (None, "ordinary")


def test_a_broken_rule_is_said_before_what_is_unusual() -> None:
    factor = beside(cold_nights(0, 0, 0, 0, 0), 9.0)["longest cold spell"]
    assert (factor.among, factor.finding) == (Among(5, 1), "breaks the rule")


def test_without_a_rule_the_animals_own_range_decides() -> None:
    name = "degree-hours below the floor"
    down = cold_nights(0, 0, 1, 1, 2)
    assert beside(down, 1.5)[name].finding == "ordinary"
    assert beside(down, 4.0)[name].finding == "unusual for this animal"


def test_a_word_is_unusual_when_no_meal_kept_down_has_it() -> None:
    down = cold_nights(0, 0, 0, 0, 0)
    assert beside(down, 0, fed_in=FedIn.BOX)["fed in"].finding == "unusual for this animal"
    assert beside(down, 0, fed_in=FedIn.ENCLOSURE)["fed in"].finding == "ordinary"
    assert beside(down, 0)["fed in"].finding == "unknown"


def test_a_meal_with_missing_readings_does_not_stand_for_what_the_animal_is_used_to() -> None:
    """Its cold may have gone unseen, so that a later meal would look unusual for nothing."""
    holed = [steps((40, 31.0), (20, NAN), (108, 31.0))] * 6
    down = StayedDown(
        measured(one, held_against(line, one.window, CARE), "not enough readings", CARE)
        for line in holed
        for one in [gathered(line)]
    )
    assert beside(down, 3.0)["longest cold spell"].among is None


# ---- laws of ranks --------------------------------------------------------------------------

FIGURES = st.lists(
    st.tuples(st.floats(0, 50), st.booleans()), min_size=0, max_size=25
)  # a figure, and whether nothing of it is missing


def figure(
    value: float, *, whole: bool = True, worse: Literal["more", "less"] = "more"
) -> Measured:
    return Measured("f", value, "b", rank_by=value, whole=whole, worse=worse)


@given(FIGURES, st.floats(0, 50), st.sampled_from(["more", "less"]))
def test_a_rank_counts_those_as_far_out_whatever_their_order(
    kept: list[tuple[float, bool]], value: float, worse: Literal["more", "less"]
) -> None:
    down = StayedDown([figure(v, whole=whole, worse=worse)] for v, whole in kept)
    turned = StayedDown([figure(v, whole=whole, worse=worse)] for v, whole in reversed(kept))
    among = down.among(figure(value, worse=worse), is_one=False)
    assert among == turned.among(figure(value, worse=worse), is_one=False)
    known = [v for v, whole in kept if whole]
    if not known:
        assert among is None
        return
    assert among is not None
    assert 1 <= among.rank <= among.n + 1 == len(known) + 1
    as_far = [v for v in known if (v >= value if worse == "more" else v <= value)]
    assert among.rank == 1 + len(as_far)


@given(st.lists(st.floats(0, 50), min_size=1, max_size=20), st.integers(0, 19))
def test_one_of_them_is_ranked_as_if_it_were_not_among_them(kept: list[float], number: int) -> None:
    own = kept[number % len(kept)]
    others = [*kept]
    others.remove(own)
    with_it = StayedDown([figure(v)] for v in kept).among(figure(own), is_one=True)
    without = StayedDown([figure(v)] for v in others).among(figure(own), is_one=False)
    assert with_it == without


# ---- basis ----------------------------------------------------------------------------------


def test_basis_says_how_far_to_trust_it() -> None:
    feeding, climate = CARE.feeding, CARE.climate
    assert basis_text(feeding.no_handling_hours) == "common practice"
    assert basis_text(feeding.surface_contrast_c).startswith("De Cock Buning 1983")
    assert basis_text(feeding.rest_after_regurgitation_days).endswith("(from memory)")
    assert basis_text(climate.too_hot).endswith("(our own choice)")
    assert basis_text(CARE.digestion.q10).endswith("(derived)")


def test_line_helper_makes_what_it_says() -> None:
    """The steps of these tests: hours, gaps and a step of five minutes."""
    line = steps((2, 31.0), (1, NAN), (2, 27.0))
    assert line.known_hours == pytest.approx(2 - 5 / 60 + 2)
    assert line_of([0, GAP_MS], [1.0, 1.0], GAP_MS).known_hours == 0.25
