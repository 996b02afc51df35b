"""The post-meal plot as PNG, SVG and PDF: what stands on it, and that it is always the same."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from analysis.figures import plot_meal
from analysis.figures.meal_plot import CANNOT_TELL, meal_climate, meal_sheet
from analysis.figures.paper import drawing
from analysis.gathering import Gathered
from analysis.review import Review, gather, review
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Handling,
    Meal,
    Outcome,
    Placement,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity, Reading
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.errors import Unusable
from config.settings import Settings

HOUR = 3_600_000
START = 1_741_975_200_000  # 2025-03-14T18:00:00Z
CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")  # its clocks change on 30 March 2025
COLD = range(30, 40)
GAP = range(60, 66)


@dataclass
class Drawn:
    """One meal, ready to be drawn."""

    review: Review
    gathered: Gathered


def warm_c(hour: int) -> float:
    return 24.5 if hour in COLD else 31.0


@pytest.fixture(scope="module")
def cold_night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Drawn]:
    folder = tmp_path_factory.mktemp("cold")
    name = "J_u$no <b>&"
    with Book(folder / "book.db", now_ms=lambda: START + 999 * HOUR) as book:
        book.put(Enclosure("tub"))
        book.put(Animal(name))
        book.put(Stay(name, "tub", START - 99 * HOUR))
        for probe, zone in (("w", Zone.WARM_SIDE), ("c", Zone.COOL_SIDE)):
            book.put(Placement(probe, "tub", zone, START - 99 * HOUR))
        book.put(Weighing(name, START - 50 * HOUR, mass_g=1500))
        book.put(Handling(name, START + 20 * HOUR, 10, "moved"))
        book.put(
            Meal(
                0, name, taken_at_ms=START, prey="rat", prey_mass_g=150,
                outcome=Outcome.REGURGITATED, outcome_at_ms=START + 80 * HOUR,
            )
        )  # fmt: skip
        rows = []
        for minute in range(0, 81 * 60, 5):
            if minute // 60 in GAP:
                continue
            at = START + minute * 60_000
            rows.append(Reading("w", Quantity.TEMPERATURE, at, warm_c(minute // 60)))
            rows.append(Reading("c", Quantity.TEMPERATURE, at, 25.0))
        with closing(SqliteArchive(folder / "archive.db")) as archive:
            archive.write(Columns.of(rows))
        with Reader(folder / "journal.db", folder / "archive.db") as reader:
            gathered = gather(book.meal(1), book, reader, CARE, SETTINGS, START + 99 * HOUR)
            yield Drawn(review(gathered, CARE, SETTINGS), gathered)


def draw(one: Drawn, path: Path, settings: Settings = SETTINGS) -> bytes:
    plot_meal(one.review, one.gathered, path, settings, CARE)
    return path.read_bytes()


def words_of(svg: bytes) -> str:
    root = ET.fromstring(svg)  # noqa: S314  # a picture of our own making
    return " ".join(e.text or "" for e in root.iter() if e.tag.endswith("text"))


def test_the_svg_says_it_in_words(cold_night: Drawn, tmp_path: Path) -> None:
    words = words_of(draw(cold_night, tmp_path / "m.svg"))
    for text in (
        "J_u$no <b>& took a 150 g rat", "Cool", "came back after 80 h",
        "handled", "regurgitated", "floor 28.0 °C", "warm side", "cool side", "none",
        "Fri 14 Mar",
    ):  # fmt: skip
        assert text in words, text
    assert CANNOT_TELL.split(". ")[0].split(": ")[1][:40] in words


def test_fahrenheit_where_the_keeper_wants_it(cold_night: Drawn, tmp_path: Path) -> None:
    settings = Settings.model_validate({"show": {"temperature": "degF"}})
    words = words_of(draw(cold_night, tmp_path / "m.svg", settings))
    assert "floor 82.4 °F" in words
    assert "°F" in words


@pytest.mark.parametrize(
    ("suffix", "magic"), [("png", b"\x89PNG\r\n\x1a\n"), ("svg", b"<?xml"), ("pdf", b"%PDF-")]
)
def test_the_same_meal_gives_the_same_bytes(
    cold_night: Drawn, tmp_path: Path, suffix: str, magic: bytes
) -> None:
    first = draw(cold_night, tmp_path / f"a.{suffix}")
    assert first.startswith(magic)
    assert draw(cold_night, tmp_path / f"b.{suffix}") == first
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"a.{suffix}", f"b.{suffix}"]


def test_the_pdf_is_one_page(cold_night: Drawn, tmp_path: Path) -> None:
    pdf = draw(cold_night, tmp_path / "m.pdf")
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") == 1
    streams = [
        part.split(b"endstream")[0]
        for part in pdf.split(b"stream\r\n" if b"stream\r\n" in pdf else b"stream\n")[1:]
    ]
    assert any(b" Tf" in zlib.decompressobj().decompress(s) for s in streams if s[:1] == b"x")


def test_gaps_are_blank_and_the_cold_is_shaded(cold_night: Drawn) -> None:
    with drawing():
        sheet = meal_sheet(cold_night.review, cold_night.gathered, ".png", SETTINGS, CARE)
    axes = next(a for a in sheet.figure.axes if any(x.get_label() == "floor" for x in a.lines))
    line = next(x for x in axes.lines if x.get_label() == "warm side")
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    known = ~np.isnan(y)
    assert np.isnan(y).sum() == 1  # one break, for the one gap
    assert not ((x[known] > GAP.start) & (x[known] < GAP.stop)).any()
    assert y[known].min() == pytest.approx(24.5)
    shades = next(c for c in axes.collections if c.get_label() == "beyond limits")
    hours = np.concatenate([np.asarray(p.vertices)[:, 0] for p in shades.get_paths()])
    assert COLD.start - 0.2 < hours.min()
    assert hours.max() < COLD.stop + 0.2


def test_no_probe_no_readings_no_masses_can_be_drawn(cold_night: Drawn, tmp_path: Path) -> None:
    for placed in (False, True):
        folder = tmp_path / str(placed)
        folder.mkdir()
        with Book(folder / "book.db") as book:
            book.put(Enclosure("tub"))
            book.put(Animal("Juno"))
            book.put(Stay("Juno", "tub", START - HOUR))
            if placed:
                book.put(Placement("w", "tub", Zone.WARM_SIDE, START - HOUR))
            book.put(Meal(0, "Juno", taken_at_ms=START))
            with Reader(folder / "journal.db", folder / "archive.db") as reader:
                gathered = gather(book.meal(1), book, reader, CARE, SETTINGS, START + 30 * HOUR)
        one = Drawn(review(gathered, CARE, SETTINGS), gathered)
        words = words_of(draw(one, folder / "m.svg"))
        assert (
            "no readings from the warm side" if placed else "no probe on the warm side"
        ) in words
        assert "is not known" in words


def test_only_pictures_we_can_draw(cold_night: Drawn, tmp_path: Path) -> None:
    for name in ("m.gif", "m", "m.png.txt"):
        with pytest.raises(Unusable, match=r"\.png, \.svg or \.pdf"):
            draw(cold_night, tmp_path / name)
    with pytest.raises(Unusable, match="cannot be written"):
        draw(cold_night, tmp_path / "nowhere" / "m.png")
    assert list(tmp_path.iterdir()) == []


def test_the_plot_shows_the_window_and_its_limits(cold_night: Drawn) -> None:
    climate = meal_climate(cold_night.gathered, CARE)
    assert (climate.start_ms, climate.end_ms) == (START, START + 80 * HOUR)
    assert (climate.floor_c, climate.hot_c, climate.lower_limits_c) == (28.0, 36.0, (25.0, 22.0))
    assert [event.word for event in climate.events] == ["handled", "regurgitated"]
