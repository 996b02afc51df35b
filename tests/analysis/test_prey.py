"""Kinds of prey, with the shipped profile's table."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.prey import energy_kcal, kind_for, kind_of
from collector.book.records import Meal
from config.care import load_care_profile

KINDS = load_care_profile("boa-constrictor").prey


def _name(prey: str | None, mass_g: float | None) -> str | None:
    kind = kind_of(prey, mass_g, KINDS)
    return kind.name if kind else None


@pytest.mark.parametrize(
    ("prey", "mass_g", "kind"),
    [
        ("rat", 330.0, "adult rat"),
        ("Rat (thawed)", 120.0, "young rat"),
        ("two mice", 27.0, "adult mouse"),
        ("mouse", 1.5, "newborn mouse"),
        ("mouse", 55.0, "adult mouse"),  # heavier than any mouse is sold: the nearest
        ("adult mouse", None, "adult mouse"),
        ("Day-old  chick", None, "day-old chick"),
        ("chick", None, "day-old chick"),  # the only kind of that word
        ("mouse", None, None),
        ("rather large thing", 100.0, None),  # holds no word of the table
        ("quail", 100.0, None),
        (None, 100.0, None),
    ],
)
def test_what_a_keeper_means(prey: str | None, mass_g: float | None, kind: str | None) -> None:
    assert _name(prey, mass_g) == kind


@pytest.mark.parametrize(
    ("low_g", "high_g", "kind"),
    [
        (1.0, 2.0, "newborn mouse"),
        (8.0, 12.0, "young mouse"),  # as much of it a rat pup: mice come first
        (24.0, 36.0, "adult mouse"),
        (144.0, 216.0, "young rat"),
        (200.0, 300.0, "adult rat"),
        (400.0, 600.0, "adult rat"),
        (800.0, 1200.0, "young rabbit"),
        (220.0, 220.0, "adult rat"),
        (4000.0, 6000.0, None),
        (0.1, 0.5, None),
    ],
)
def test_what_a_window_is_sold_as(low_g: float, high_g: float, kind: str | None) -> None:
    found = kind_for(low_g, high_g, KINDS)
    assert (found.name if found else None) == kind


def test_chicks_are_now_and_then() -> None:
    found = kind_for(38.0, 45.0, KINDS)
    assert found is not None
    assert found.staple


@given(st.floats(1.0, 3000.0), st.floats(1.0, 1.9))
def test_a_named_kind_is_never_outside_the_window(low_g: float, times: float) -> None:
    found = kind_for(low_g, low_g * times, KINDS)
    if found is not None:
        assert found.mass_g.low <= low_g * times
        assert found.mass_g.high >= low_g


def test_no_window_below_nothing() -> None:
    with pytest.raises(ValueError, match="no prey weighs"):
        kind_for(0.0, 10.0, KINDS)


@pytest.mark.parametrize(
    ("prey", "count", "mass_g", "kcal"),
    [
        # Small Animal Clinical Nutrition, 5th ed., table 71-5, as fed.
        ("mouse", 1, 1.5, 1.5 * 0.8),
        ("mouse", 3, 4.0, 12.0 * 1.7),
        ("mouse", None, 27.0, 27.0 * 1.7),
        ("rat", 1, 330.0, 330.0 * 1.6),
        ("day-old chick", 2, 40.0, 80.0 * 1.3),
        ("rabbit", 1, 900.0, None),  # not in that table
        ("rat", 1, 10.0, None),  # no row for pups
        ("rat", 1, None, None),
    ],
)
def test_energy_as_fed(
    prey: str, count: int | None, mass_g: float | None, kcal: float | None
) -> None:
    meal = Meal(1, "Nera", prey=prey, prey_count=count, prey_mass_g=mass_g)
    energy = energy_kcal(meal, KINDS)
    assert energy == (None if kcal is None else pytest.approx(kcal))


def test_every_energy_says_where_it_is_from() -> None:
    known = [kind.energy_kcal_per_g for kind in KINDS if kind.energy_kcal_per_g]
    assert len(known) == 8
    assert all("table 71-5" in energy.source for energy in known)
    assert {energy.basis for energy in known} == {"read", "derived"}
