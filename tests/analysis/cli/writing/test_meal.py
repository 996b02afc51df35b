"""`warmcoil meal`: defaults that are said, the life of a meal, corrections."""

from __future__ import annotations

from collector.book.records import FedIn, Meal, Outcome, PreyState, Signs
from tests.analysis.cli.writing.keeper import Keeper, at

MINUTE = 60_000


def test_a_bare_meal_is_an_offer_now_and_says_how_to_go_on(keeper: Keeper) -> None:
    said = keeper.does("meal --prey rat --mass 220g --state thawed --in enclosure --surface 38C")
    assert said == (
        "Meal 1: Ombra, a 220 g rat, offered 20:31, not yet taken. Taken? warmcoil meal 1 --taken\n"
    )
    with keeper.book() as book:
        assert book.meal(1) == Meal(
            1, "Ombra", offered_at_ms=at("2026-03-03 20:31"), prey="rat", prey_mass_g=220.0,
            prey_surface_c=38.0, prey_state=PreyState.THAWED, fed_in=FedIn.ENCLOSURE,
        )  # fmt: skip


def test_what_is_not_given_is_as_last_time_and_said(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 220g --width 40mm --surface 38C --state thawed --taken")
    keeper.now_ms += 14 * 86_400_000
    said = keeper.does("meal")
    assert said.startswith("Meal 2: Ombra, a 220 g rat (as last time), offered 20:31, not yet")
    with keeper.book() as book:
        meal = book.meal(2)
    assert (meal.prey_width_mm, meal.prey_state, meal.prey_surface_c) == (40.0, "thawed", None)
    keeper.now_ms += 14 * 86_400_000
    said = keeper.does("meal ombra --mass 230g")
    assert "a 230 g rat (prey, state as last time)" in said
    with keeper.book() as book:
        assert book.meal(3).prey_width_mm is None, "another mass has another width"
    keeper.now_ms += 14 * 86_400_000
    assert "a mouse (mass not known) (state as last time)" in keeper.does("meal --prey mouse")
    keeper.now_ms += 14 * 86_400_000
    keeper.does("meal --prey rat --mass 240 --unknown state")
    with keeper.book() as book:
        assert book.meal(5).prey_state is None


def test_taken_alone_leaves_the_offer_unknown(keeper: Keeper) -> None:
    said = keeper.does("meal --prey rat --mass 220 --taken 20:10")
    assert said == "Meal 1: Ombra, a 220 g rat, taken 20:10.\n"
    with keeper.book() as book:
        assert (book.meal(1).offered_at_ms, book.meal(1).taken_at_ms) == (
            None,
            at("2026-03-03 20:10"),
        )


def test_the_life_of_a_meal_that_passes(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 220")
    keeper.now_ms += 9 * MINUTE
    assert "taken 20:40" in keeper.does("meal 1 --taken")
    keeper.now_ms += 9 * 86_400_000
    assert "kept 20:40" in keeper.does("meal 1 --outcome kept")
    said = keeper.does("meal 1 --outcome passed --when yesterday 8:00")
    assert "passed yesterday 08:00" in said
    with keeper.book() as book:
        meal = book.meal(1)
        assert (meal.outcome, meal.outcome_at_ms) == (Outcome.PASSED, at("2026-03-11 08:00"))
        assert [c.action for c in book.history(meal)] == ["added", "changed", "changed", "changed"]
    assert keeper.does("meal 1 --outcome passed --when 2026-03-11 08:00").startswith(
        "Meal 1 says that already"
    )


def test_a_meal_that_comes_back_with_blood_is_for_a_vet(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 220 --taken")
    keeper.now_ms += 41 * 3_600_000
    said = keeper.does("meal 1 --outcome regurgitated --signs blood")
    assert "ask a vet at once" in said
    with keeper.book() as book:
        assert book.meal(1).signs is Signs.BLOOD
    assert "vet" not in keeper.does("meal 1 --signs none")


def test_refused_and_taken_away_are_one(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 220")
    keeper.now_ms += 40 * MINUTE
    assert "taken away 21:11, refused" in keeper.does("meal 1 --removed")
    with keeper.book() as book:
        meal = book.meal(1)
    assert (meal.outcome, meal.outcome_at_ms, meal.taken_at_ms) == (
        Outcome.REFUSED,
        at("2026-03-03 21:11"),
        None,
    )
    assert "refused" not in keeper.does("meal 1 --taken 20:45 --unknown removed")
    assert "is down as taken 20:45" in keeper.fails("meal 1 --refused")
    keeper.does("meal 1 --refused --sure")
    with keeper.book() as book:
        assert (book.meal(1).taken_at_ms, book.meal(1).outcome) == (None, Outcome.REFUSED)
    keeper.now_ms += 3 * 86_400_000
    assert "Meal 2: Ombra, a 220 g rat (as last time), offered 21:11, refused." in keeper.does(
        "meal --refused"
    )


def test_a_number_is_a_meal_and_a_name_an_animal(keeper: Keeper) -> None:
    keeper.does("new animal 7 --in shelf --since 2024-01-01")
    assert "no meal 7 in the book; for the animal write --animal 7" in keeper.fails(
        "meal 7", code=1
    )
    assert keeper.does("meal --animal 7 --prey rat").startswith("Meal 1: 7, a rat")
    assert "which animal? there are: 7, Ombra" in keeper.fails("meal")
    assert keeper.does("meal 1").startswith("Meal 1: 7, a rat")
    assert "there are: 7, Ombra" in keeper.fails("meal Nobody", code=1)


def test_a_correction_keeps_the_version_before(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 220 --width 1,6in")
    assert "a 200 g rat" in keeper.does("meal 1 --mass 200g")
    keeper.does("meal 1 --unknown width --unknown prey")
    said = keeper.does("history 1")
    assert "mass: 220 g → 200 g" in said
    assert "prey: rat → not known; width: 40.6 mm → not known" in said
    assert "Ines" in said


def test_units_of_the_home_are_taken_and_shown(keeper: Keeper) -> None:
    keeper.set(
        'time_zone = "Europe/Lisbon"\n'
        '[show]\nmass = "oz"\nlength = "in"\ntemperature = "degF"\n'
    )  # fmt: skip
    assert "a 7.8 oz rat" in keeper.does("meal --prey rat --mass 7.8 --width 1.6 --surface 100")
    with keeper.book() as book:
        meal = book.meal(1)
    # International pound and inch of 1959: 7.8 oz = 221.126 g, 1.6 in = 40.64 mm; 100 °F = 37.78 °C
    assert (meal.prey_mass_g, meal.prey_width_mm, meal.prey_surface_c) == (
        221.1263,
        40.64,
        37.7778,
    )
