"""The drawings are what their script draws, and what they say of resistors and cables adds up."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from hardware import wiring
from hardware.wiring import electrics
from hardware.wiring.drawings import ALL

FOLDER = Path(wiring.__file__).parent
GUIDE = (FOLDER.parent / "GUIDE.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", list(ALL))
def test_a_drawing_is_what_the_script_draws(name: str) -> None:
    text = (FOLDER / name).read_text(encoding="utf-8")
    assert text == ALL[name]().text(), "draw anew: python -m hardware.wiring"
    root = ET.fromstring(text)  # noqa: S314  # our own file
    title, says = (root.findtext(f"{{*}}{tag}") for tag in ("title", "desc"))
    assert title
    assert says
    assert f"wiring/{name}" in GUIDE


def test_the_i2c_pull_up_suits_the_longest_cable() -> None:
    """NXP UM10204 §7.1 (read): t_r = 0.8473·R·C, and 3 mA at 0.4 V; at most 400 pF."""
    assert electrics.i2c_capacitance_pf(electrics.I2C_MOST_M) < electrics.I2C_MOST_PF
    assert electrics.i2c_smallest_ohm() == pytest.approx(966.7, abs=0.1)
    largest = electrics.i2c_largest_ohm(electrics.I2C_MOST_M)
    assert largest == pytest.approx(5901, abs=1)
    assert electrics.i2c_smallest_ohm() < electrics.I2C_PULL_UP_OHM < largest


def test_the_guide_says_the_same_figures() -> None:
    for figure in (
        f"{electrics.ONE_WIRE_PULL_UP_OHM / 1000:g} kΩ",
        f"{electrics.I2C_MOST_M:g} m",
        f"{electrics.ONE_WIRE_MOST_M:g} m",
        f"{electrics.ONE_WIRE_MOST_STUB_M:g} m",
    ):
        assert figure in GUIDE
