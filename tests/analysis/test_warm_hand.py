"""The probe in a warm hand: found in time, never a wrong one; "not sure yet" where it is not."""

from __future__ import annotations

import math
import random

import pytest

from analysis.warm_hand import WRONG, find
from tests.campaigns.find import IN_TIME_S, one_try, summary

BEGAN_MS = 1_900_000_000_000
Series = list[tuple[int, float]]


def lying(seed: int, mean_c: float, *, until_s: int, slope_per_s: float = 0.0) -> Series:
    """A probe that lies where it lies, read every 5 s since ten minutes before the beginning."""
    draw = random.Random(seed)
    return [
        (BEGAN_MS + s * 1000, round((mean_c + slope_per_s * s + draw.gauss(0, 0.07)) * 16) / 16)
        for s in range(-600, until_s + 1, 5)
    ]


def warmed(series: Series, to_c: float, tau_s: float = 15.0, from_s: float = 0.0) -> Series:
    """The same, in something of `to_c` from then on."""
    return [
        (at, value + (to_c - value) * (1 - math.exp(-max(0.0, (at - BEGAN_MS) / 1000 - from_s)
                                                     / tau_s)))
        for at, value in series
    ]  # fmt: skip


def test_a_seeded_share_of_the_campaign() -> None:
    held = summary([one_try(seed) for seed in range(1000, 1006)])
    assert (held["found_within_30_s"], held["wrong"]) == (6, 0)
    assert held["seconds_max"] is not None
    empty = one_try(2000, nobody=True)
    assert empty.named is None


def test_the_one_in_the_hand_is_named_with_its_rise() -> None:
    readings = {f"p{n}": lying(n, 24.0 + n / 3, until_s=IN_TIME_S) for n in range(24)}
    assert find(readings, BEGAN_MS).probe is None
    readings["p7"] = warmed(readings["p7"], 34.0)
    found = find(readings, BEGAN_MS)
    assert found.probe == "p7"
    assert found.warming[0].rise_c == pytest.approx(34.0 - readings["p7"][0][1], abs=2.0)
    assert found.heard == 24
    assert found.needed == pytest.approx(math.log(24 / WRONG))


def test_two_that_warm_together_are_neither() -> None:
    readings = {f"p{n}": lying(n, 25.0, until_s=IN_TIME_S) for n in range(6)}
    for probe in ("p1", "p2"):
        readings[probe] = warmed(readings[probe], 34.0)
    found = find(readings, BEGAN_MS)
    assert found.probe is None
    assert {one.probe for one in found.together} == {"p1", "p2"}


def test_one_wild_reading_names_nobody() -> None:
    readings = {f"p{n}": lying(n, 25.0, until_s=10) for n in range(6)}
    at_ms, value = readings["p3"][-1]
    readings["p3"][-1] = (at_ms, value + 8.0)
    assert find(readings, BEGAN_MS).probe is None


def test_what_rose_before_goes_on_rising() -> None:
    readings = {f"p{n}": lying(n, 25.0, until_s=60) for n in range(6)}
    readings["p2"] = lying(2, 25.0, until_s=60, slope_per_s=0.01)
    assert find(readings, BEGAN_MS).probe is None


def test_coming_back_after_a_door_is_no_hand() -> None:
    """Opened for five minutes, shut at the beginning: back to where it was, as slowly as in air."""
    readings = {f"p{n}": lying(n, 31.0, until_s=90) for n in range(6)}
    cooled = [
        (at, v - 3.0 * (1 - math.exp(-max(0.0, (min(at, BEGAN_MS) - BEGAN_MS) / 1000 + 300) / 90)))
        for at, v in readings["p4"]
    ]
    readings["p4"] = warmed(cooled, 31.0, tau_s=75)
    assert find(readings, BEGAN_MS).probe is None


@pytest.mark.parametrize("known", [[], [(BEGAN_MS + 5000, 30.0)], [(BEGAN_MS - 9000, 30.0)] * 2])
def test_without_enough_readings_nothing_is_said(known: Series) -> None:
    found = find({"p": known}, BEGAN_MS)
    assert (found.probe, found.known) == (None, 0)
    assert found.heard == (known[-1:] == [(BEGAN_MS + 5000, 30.0)])
    assert find({}, BEGAN_MS).probe is None
