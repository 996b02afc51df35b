"""`warmcoil calibrate`: from live readings to a correction in the book."""

from __future__ import annotations

import random
from contextlib import closing

import pytest

from collector.book.book import Book
from collector.book.records import Calibrated
from collector.calibration import from_record
from collector.readings import Correction, Flag, Quantity, Reading
from collector.store.journal import Journal
from config.home import Home
from tests.analysis.cli.writing.keeper import Keeper

OLD = Correction(1.0, 0.7)
"""A correction that readings already bear: a calibration starts from what the probe itself said."""


def bath(keeper: Keeper, probe: str, true_c: float, off_c: float, noise_c: float = 0.04) -> None:
    """Five minutes in a bath up to now, read every 10 s in steps of 1/16 °C."""
    home = Home(keeper.folder)
    home.readings.mkdir(exist_ok=True)
    draw = random.Random(int(true_c))
    said = [
        Reading(
            probe, Quantity.TEMPERATURE, keeper.now_ms - past_s * 1000,
            round((true_c + off_c + draw.gauss(0, noise_c)) * 16) / 16, OLD,
            Flag.JUMP if past_s > 250 else Flag.NONE,
        )
        for past_s in range(300, -1, -10)
    ]  # fmt: skip
    with closing(Journal(home.journal)) as journal:
        journal.commit(said)


def kept(keeper: Keeper) -> list[Calibrated]:
    with Book(Home(keeper.folder).book, read_only=True) as book:
        return book.calibrations()


def test_ice_then_a_second_bath_make_a_line_and_each_is_taken_back(keeper: Keeper) -> None:
    bath(keeper, "p1", 0.0, 0.3)
    said = keeper.does("calibrate p1 --ice")
    assert "is added to every reading; sure to ±0.0" in said
    assert "warmcoil undo" in said
    (ice,) = kept(keeper)
    assert from_record(ice).offset == pytest.approx(-0.3, abs=0.04)
    assert 0.06 < ice.uncertainty_c < 0.1
    keeper.now_ms += 3_600_000
    bath(keeper, "p1", 37.0, 0.5)
    said = keeper.does("calibrate p1 --second-c 37.0 --reference-uncertainty 0.1")
    assert "near 31 °C; sure to ±" in said
    both = kept(keeper)[-1]
    line = from_record(both)
    assert line.apply(31.0 + 0.3 + 0.2 * 31 / 37) == pytest.approx(31.0, abs=0.06)
    assert "calibration: added" not in keeper.does("history p1")
    assert "37.00 °C" in keeper.said
    keeper.does("undo")
    assert kept(keeper) == [ice]
    keeper.does("remove calibration p1")
    assert kept(keeper) == []


def test_a_second_bath_alone_is_one_point(keeper: Keeper) -> None:
    bath(keeper, "p1", 37.0, -0.2)
    keeper.does("calibrate p1 --second-c 37.0 --reference-uncertainty 0.1 --note flask")
    (one,) = kept(keeper)
    assert (one.second_read_c, one.notes) == (None, "flask")
    assert from_record(one).offset == pytest.approx(0.2, abs=0.04)


def test_a_probe_that_says_humidity_only_is_refused_with_the_reason(keeper: Keeper) -> None:
    home = Home(keeper.folder)
    home.readings.mkdir(exist_ok=True)
    with closing(Journal(home.journal)) as journal:
        journal.commit([Reading("damp", Quantity.HUMIDITY, keeper.now_ms, 70.0)])
    told = keeper.fails("calibrate damp --ice")
    assert "says no temperature: a calibration in the book is of °C" in told
    assert "humidity_two_point_pct" in told


def test_what_cannot_be_is_one_line_and_nothing_is_entered(keeper: Keeper) -> None:
    bath(keeper, "p1", 24.0, 0.0)
    bath(keeper, "restless", 0.0, 0.0, noise_c=0.4)
    keeper.does("new enclosure tub")
    assert "no probe 'p9' was heard; there are: p1, restless" in keeper.fails(
        "calibrate p9 --ice", code=1
    )
    assert "no correction mends that" in keeper.fails("calibrate p1 --ice")
    assert "scatter" in keeper.fails("calibrate restless --ice --wait 0", code=1)
    assert "one bath at a time" in keeper.fails(
        "calibrate p1 --ice --second-c 37 --reference-uncertainty 0.1"
    )
    assert "belong together" in keeper.fails("calibrate p1 --second-c 37")
    assert "nobody can be asked here" in keeper.fails("calibrate p1")
    keeper.now_ms += 3_600_000
    assert "hardly been heard" in keeper.fails("calibrate p1 --ice --wait 0", code=1)
