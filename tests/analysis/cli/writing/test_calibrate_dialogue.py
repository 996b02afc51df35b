"""`warmcoil calibrate PROBE` in a real terminal: what is asked, answered, mistyped and broken off.

Only the clock is made up: a file says what time it is, so that three minutes of a bath need none.
"""

from __future__ import annotations

import os
import random
import sys
from contextlib import closing
from pathlib import Path

import pytest

from analysis.cli.common import home_at
from collector.book.book import Book
from collector.book.records import Calibrated
from collector.readings import Quantity, Reading
from collector.store.journal import Journal
from config.home import Home
from tests.terminal import CTRL_C, Talk

COMMAND = """
import pathlib, sys
from analysis.cli import calibrating, common, main
clock = pathlib.Path(sys.argv[1])
common.now_ms = lambda: int(clock.read_text())
calibrating._LOOK_EVERY_S = calibrating._SAY_EVERY_S = 0.1
sys.argv = ["warmcoil", "calibrate", "p1", "--home", sys.argv[2]]
sys.exit(main())
"""
BEGAN_MS = 1_900_000_000_000


class Bench:
    """A home, its clock, and a probe in a bath."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "home"
        self.folder.mkdir()
        (self.folder / "warmcoil.toml").write_text('time_zone = "Europe/Lisbon"\n')
        self.home = home_at(self.folder)
        self.home.readings.mkdir()
        self.clock = folder / "clock"
        self._draw = random.Random(3)
        self.now_ms = BEGAN_MS
        self.lies(24.0)

    def lies(self, celsius: float, seconds: int = 240, noise_c: float = 0.04) -> None:
        """So long it reads this, every 5 s; then it is that much later."""
        said = [
            Reading("p1", Quantity.TEMPERATURE, self.now_ms + s * 1000,
                    round((celsius + self._draw.gauss(0, noise_c)) * 16) / 16)
            for s in range(0, seconds, 5)
        ]  # fmt: skip
        with closing(Journal(self.home.journal)) as journal:
            journal.commit(said)
        self.passes(seconds)

    def passes(self, seconds: int) -> None:
        """Time, in which nothing is read."""
        self.now_ms += seconds * 1000
        fresh = self.clock.with_suffix(".new")
        fresh.write_text(str(self.now_ms))
        fresh.replace(self.clock)

    def talk(self) -> Talk:
        words = [sys.executable, "-c", COMMAND, str(self.clock), str(self.folder)]
        return Talk(words, {**os.environ, "WARMCOIL_WHO": "Ines"})

    def kept(self) -> list[Calibrated]:
        if not Home(self.folder).book.exists():
            return []
        with Book(Home(self.folder).book, read_only=True) as book:
            return book.calibrations()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_both_points_with_a_restless_bath_and_figures_that_cannot_be(bench: Bench) -> None:
    talk = bench.talk()
    bench.lies(0.3, noise_c=0.5)
    talk.answer("Press Enter when the probe is in the ice", "")
    talk.until("its readings scatter by 0.")
    assert bench.kept() == []
    bench.lies(0.3)
    talk.until("Steady. It reads 0.")
    talk.until("is added to every reading; sure to ±0.")
    (ice,) = bench.kept()
    talk.answer("A second point in warm water? [Y/n]:", "y")
    bench.lies(37.5)
    talk.answer("Press Enter when both are in the water", "")
    talk.answer("What does the reference say now, in °C?:", "warm")
    for true_c, sure_c, why in (
        ("73.1", "0.1", "more than 5 °C from what was true"),
        ("nan", "0.1", "nan °C is no temperature"),
        ("37.1", "9", "more than 0, and at most 2"),
    ):
        talk.answer("What does the reference say now, in °C?:", true_c)
        talk.answer("(k = 2; see its papers)? [0.1]:", sure_c)
        assert why in talk.until("Once more, or Ctrl-C: the ice point stays.")
        assert bench.kept() == [ice]
    talk.answer("What does the reference say now, in °C?:", "37.1")
    talk.answer("(k = 2; see its papers)? [0.1]:", "")
    code, said = talk.ended()
    assert code == 0
    assert "near 31 °C; sure to ±0." in said
    assert "by two points (0.00 and 37.10 °C)" in said
    both = bench.kept()[-1]
    assert (both.read_c, both.second_true_c) == (ice.read_c, 37.1)
    assert both.second_read_c == pytest.approx(37.5, abs=0.05)


def test_silence_in_the_middle_and_a_point_too_near(bench: Bench) -> None:
    talk = bench.talk()
    bench.lies(0.2)
    bench.passes(60)
    talk.answer("Press Enter when the probe is in the ice", "")
    assert "uncorrected" in talk.until("it has not been heard for 65 s: is its cable in")
    bench.lies(0.2)
    talk.answer("A second point in warm water? [Y/n]:", "y")
    bench.lies(8.0)
    talk.answer("Press Enter when both are in the water", "")
    talk.answer("What does the reference say now, in °C?:", "8")
    talk.answer("[0.1]:", "")
    assert "two points 10 °C apart" in talk.until("Once more")
    talk.types(CTRL_C)
    code, said = talk.ended()
    assert (code, "Traceback" in said) == (130, False)
    (ice,) = bench.kept()
    assert ice.second_read_c is None


def test_broken_off_before_the_first_point_nothing_is_changed(bench: Bench) -> None:
    talk = bench.talk()
    bench.lies(0.3, noise_c=0.5)
    talk.answer("Press Enter when the probe is in the ice", "")
    talk.until("scatter")
    talk.types(CTRL_C)
    code, said = talk.ended()
    assert code == 130
    assert "Traceback" not in said
    assert bench.kept() == []
