"""The last hours of an enclosure as a picture for an alarm."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from analysis.figures import plot_recent
from analysis.figures.recent_plot import LOCK_SCREEN, recent_climate
from analysis.gathering import Facts
from analysis.recent import Recent, recent_of
from analysis.tracks import Tracks
from collector.book.book import Book
from collector.book.records import Outcome
from collector.store.reader import Reader
from tests.analysis.figures.scenes import (
    CARE,
    HOUR,
    SETTINGS,
    Scene,
    cold_night,
    draw_scene,
    heater_failure,
    unknown,
)


def recent(scene: Scene, folder: Path, enclosure: str = "left shelf") -> Recent:
    draw_scene(scene, folder)
    now_ms = scene.start_ms + round(scene.now_h * HOUR)
    with (
        Book(folder / "book.db", read_only=True) as book,
        Reader(folder / "journal.db", folder / "archive.db") as reader,
    ):
        facts, tracks = Facts.of(book), Tracks(reader)
        return recent_of(
            enclosure, facts, tracks, care=CARE, settings=scene.settings, now_ms=now_ms
        )


def words(one: Recent, folder: Path, title: str | None = None) -> str:
    plot_recent(one, folder / "r.svg", SETTINGS, CARE, title)
    root = ET.fromstring((folder / "r.svg").read_bytes())  # noqa: S314  # of our own making
    texts = " ".join(e.text or "" for e in root.iter() if e.tag.endswith("}text"))
    return " ".join(texts.split())


def test_a_falling_warm_side_is_said_and_shown(tmp_path: Path) -> None:
    one = recent(replace(heater_failure(), now_h=53.6), tmp_path)
    said = words(one, tmp_path)
    assert "left shelf: 24.8 °C on the warm side, down 1.2 °C in the last hour" in said
    assert "Maren: day 3 of about 8 of a 220 g rat" in said
    assert "day 3 of about 8" in said
    assert "Below 28.0 °C for 2 h of that." in said
    assert "The 12 h to Fri 6 Mar 2026, 03:15." in said
    assert "No readings for" not in said
    assert one.now_ms - one.start_ms == 12 * HOUR


def test_the_alarms_own_words_come_first(tmp_path: Path) -> None:
    one = recent(replace(heater_failure(), now_h=53.6), tmp_path)
    said = words(one, tmp_path, "Warm side low in left shelf: 24.8 °C")
    assert said.startswith("Warm side low in left shelf: 24.8 °C") or (
        said.index("Warm side low") < said.index("left shelf: 24.8 °C on the warm side")
    )


def test_a_probe_that_has_fallen_silent(tmp_path: Path) -> None:
    one = recent(replace(heater_failure(), now_h=57.0), tmp_path)
    said = words(one, tmp_path)
    assert "24.5 °C on the warm side 3 h ago, nothing heard since" in said
    assert "No readings for 3 h of that." in said


def test_meal_and_handling_stand_at_their_hour(tmp_path: Path) -> None:
    scene = replace(cold_night(), now_h=6.0, handled_h=(3.0,), outcome=None, outcome_h=None)
    climate = recent_climate(recent(scene, tmp_path), CARE)
    assert [(e.word, (e.at_ms - scene.start_ms) / HOUR) for e in climate.events] == [
        ("meal", 0.0),
        ("handled", 3.0),
    ]


def test_without_an_open_meal_there_is_no_ribbon(tmp_path: Path) -> None:
    scene = replace(cold_night(), now_h=41.0, outcome=Outcome.REGURGITATED, outcome_h=40.0,
                    handled_h=())  # fmt: skip
    one = recent(scene, tmp_path)
    assert one.digesting == ()
    assert "day 1" not in words(one, tmp_path)


@pytest.mark.parametrize("enclosure", ["left shelf", "an empty tub"])
def test_no_probe_at_all(tmp_path: Path, enclosure: str) -> None:
    one = recent(unknown(), tmp_path, enclosure)
    said = words(one, tmp_path)
    assert "warm side not known" in said
    assert "no probe on the warm side" in said
    assert ("Maren" in said) == (enclosure == "left shelf")


def test_it_is_small_and_its_letters_are_large(tmp_path: Path) -> None:
    one = recent(replace(heater_failure(), now_h=53.6), tmp_path)
    plot_recent(one, tmp_path / "r.png", SETTINGS, CARE)
    with Image.open(tmp_path / "r.png") as image:
        assert image.width == int(330 / 72 * 200)
        assert image.height < 1.5 * image.width
    assert LOCK_SCREEN.body * 360 / LOCK_SCREEN.width >= 12
