"""Amounts as a keeper writes them, against the units' own definitions."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import words
from analysis.amounts import length_cm, mass_g, minutes, temperature_c, width_mm
from analysis.change_words import length, width
from config.errors import Unusable
from config.settings import Settings, Show

HOME = Settings()
IMPERIAL = Settings(show=Show(mass="oz", length="in", temperature="degF"))

# The yard and pound agreement of 1959: 1 lb = 453.59237 g, 1 in = 25.4 mm; °F = 1.8 °C + 32.
MASSES = {"g": 1.0, "kg": 1000.0, "oz": 453.59237 / 16, "lb": 453.59237}
WIDTHS = {"mm": 1.0, "cm": 10.0, "in": 25.4, "ft": 304.8}
numbers = st.decimals(0, 99_999, places=3, allow_nan=False).map(lambda d: f"{d:f}")
spaces = st.sampled_from(["", " ", "  "])


def _unambiguous(number: str, comma: bool) -> str:
    """The number, with a decimal comma where that cannot part thousands."""
    whole, _, part = number.partition(".")
    return f"{whole},{part}0" if comma else number


@given(numbers, st.sampled_from(sorted(MASSES)), spaces, st.booleans(), st.booleans())
def test_every_mass_is_its_number_times_its_unit(
    number: str, unit: str, space: str, comma: bool, upper: bool
) -> None:
    text = f"{_unambiguous(number, comma)}{space}{unit.upper() if upper else unit}"
    expected = float(number) * MASSES[unit]
    assert math.isclose(mass_g(text, HOME, "x"), expected, rel_tol=1e-12, abs_tol=6e-5)


@given(numbers, st.sampled_from(sorted(WIDTHS)), spaces)
def test_every_width_too(number: str, unit: str, space: str) -> None:
    expected = float(number) * WIDTHS[unit]
    assert math.isclose(
        width_mm(f"{number}{space}{unit}", HOME, "x"), expected, rel_tol=1e-12, abs_tol=6e-5
    )
    assert math.isclose(
        length_cm(f"{number}{space}{unit}", HOME, "x"), expected / 10, rel_tol=1e-12, abs_tol=2e-4
    )


@given(
    st.decimals(-40, 140, places=1).map(lambda d: f"{d:f}"), st.sampled_from(["F", "°F", "degF"])
)
def test_fahrenheit(number: str, unit: str) -> None:
    expected = (float(number) - 32) * 5 / 9
    assert math.isclose(temperature_c(f"{number}{unit}", HOME, "x"), expected, abs_tol=6e-5)
    assert math.isclose(temperature_c(number, IMPERIAL, "x"), expected, abs_tol=6e-5)
    assert temperature_c(f"{number}°C", IMPERIAL, "x") == float(number)


@pytest.mark.parametrize("settings", [HOME, IMPERIAL])
@given(value=st.floats(0.1, 950.0))
def test_what_is_shown_can_be_written_back(settings: Settings, value: float) -> None:
    """To the last digit shown, in grams and in ounces, millimetres and inches, °C and °F."""
    ways: list[tuple[Callable[[str, Settings, str], float], Callable[[float, Settings], str]]] = [
        (mass_g, words.mass),
        (width_mm, width),
        (length_cm, length),
    ]
    for read, show in ways:
        shown = show(value, settings)
        assert show(read(shown, settings, "x"), settings) == shown
    shown = words.temperature(value / 10, settings)
    assert words.temperature(temperature_c(shown, settings, "x"), settings) == shown


def test_a_number_alone_is_in_the_unit_of_the_home() -> None:
    assert mass_g("220", HOME, "x") == 220.0
    assert mass_g("8", IMPERIAL, "x") == 226.7962  # half a pound: 226.796185 g
    assert width_mm("41", HOME, "x") == 41.0
    assert width_mm("1.6", IMPERIAL, "x") == 40.64
    assert length_cm("182", HOME, "x") == 182.0
    assert length_cm("10", IMPERIAL, "x") == 25.4
    assert minutes("10", "x") == minutes("10 min", "x") == 10.0
    assert minutes("1,5h", "x") == 90.0


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1,830g", "can be read two ways; write 1830 or 1.830"),
        ("220C", "'C' is no unit of a mass"),
        ("220 stone", "'stone' is no unit of a mass"),
        ("heavy", "is not a mass; write 220g or 7.8oz"),
        ("", "is not a mass"),
        ("1.2.3", "is not a mass"),
        ("1e3", "is not a mass"),
        ("nan", "is not a mass"),
        ("١٢", "is not a mass"),
        ("9" * 400, "is not a mass"),
        ("12 g 3", "is not a mass"),
        ("1 830 g", "is not a mass"),
    ],
)
def test_what_cannot_be_read_is_one_line(text: str, why: str) -> None:
    with pytest.raises(Unusable, match=r"^--mass: ") as caught:
        mass_g(text, HOME, "--mass")
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


@given(st.text(max_size=30))
def test_no_text_does_worse_than_that(text: str) -> None:
    with suppress(Unusable):
        assert math.isfinite(mass_g(text, HOME, "x"))
