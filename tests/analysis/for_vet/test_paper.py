"""The paper for the vet, read back with pypdf."""

from __future__ import annotations

import re
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from analysis.for_vet.days import WARM, ZoneDays, zones_by_day
from analysis.for_vet.made import make_paper
from analysis.for_vet.report import vet_report
from analysis.frames import track
from analysis.gathering import Facts
from analysis.tracks import Tracks
from collector.book.book import Book
from collector.book.records import Dropping, Meal, Outcome, Signs, Urate, Weighing
from collector.readings import Quantity, SeriesKey
from collector.store.reader import Reader
from collector.store.thinning import raw_days, thin
from config.care import load_care_profile
from config.errors import NotSo, Unusable
from config.home import Home
from config.settings import Settings, Show, load_settings
from tests.analysis.page.homes import DAY, FIRST, NOW, SECOND, make_home

CARE = load_care_profile("boa-constrictor")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    return make_home(tmp_path_factory.mktemp("vet") / "home")


def made(
    home: Home, out: Path, animal: str = "Maren", *, settings: Settings | None = None,
    start_ms: int = FIRST - DAY, end_ms: int = NOW,
) -> bytes:  # fmt: skip
    settings = settings if settings is not None else load_settings(home)
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        make_paper(
            animal, out, book, reader, CARE, settings,
            start_ms=start_ms, end_ms=end_ms, now_ms=NOW,
        )  # fmt: skip
    return out.read_bytes()


def text_of(paper: bytes) -> str:
    pages = [page.extract_text() for page in PdfReader(BytesIO(paper)).pages]
    return re.sub(r"\s+", " ", " ".join(pages))


@pytest.fixture(scope="module")
def paper(home: Home, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return made(home, tmp_path_factory.mktemp("out") / "maren.pdf")


def test_what_is_known_stands_in_it(paper: bytes) -> None:
    said = text_of(paper)
    for words in (
        "Maren, for the vet",
        "Boa constrictor; female; age not known",
        "Lives in left shelf since Thu 26 Feb 2026",
        "Maren took a 180 g rat on Sun 15 Mar 2026 at 21:39",
        "came back after 72 h",
        "The warm side was cool.",
        "One thing to change:",
        "Mar 2026",
        "900 g",
        "Handling, Tue 17 Mar 2026",
        "what a vet says overrides it",
    ):
        assert words in said, words


def test_what_is_not_known_stands_in_it(paper: bytes) -> None:
    said = text_of(paper)
    for words in (
        "What is not known",
        "the longest lasts 23 h",  # from the period's start to the first reading
        "No calibration is known of: cool (humidity), cool (temperature), room (temperature)",
        "left shelf, warm side (temperature). They are taken as they read",
        "What became of 1 of 3 meals is not in the book.",
        "Once it was not written down whether mucus or blood came up with it.",
        "Nothing was written down of droppings",
        "Nobody wrote down a look",
        "proves nothing about where it lay",
    ):
        assert words in said, words


def test_an_animal_without_probes_or_meals_is_told_so(home: Home, tmp_path: Path) -> None:
    said = text_of(made(home, tmp_path / "ondo.pdf", "Ondo"))
    assert "No prey was offered in this period" in said
    assert "No probe lay on its warm side" in said
    assert "No cool-side probe" in said
    assert "No humidity probe" in said
    assert "No reading of any zone" in said


def test_it_says_its_title_its_language_and_the_data_s_moment(paper: bytes) -> None:
    reader = PdfReader(BytesIO(paper))
    about = reader.metadata
    assert about is not None
    assert about.title == "Maren, for the vet"
    assert about.creation_date is not None
    assert round(about.creation_date.timestamp()) == NOW // 1000
    assert str(reader.root_object["/Lang"]) == "en"
    for number, page in enumerate(reader.pages, start=1):
        assert f"page {number} of {len(reader.pages)}" in page.extract_text().replace("\xa0", " ")
        size = [round(float(one) / 72 * 25.4) for one in page.mediabox[2:]]
        assert size == [210, 297]  # ISO 216


def test_the_same_records_give_the_same_bytes(home: Home, paper: bytes, tmp_path: Path) -> None:
    assert made(home, tmp_path / "again.pdf") == paper


def test_it_is_in_the_keeper_s_units(home: Home, tmp_path: Path) -> None:
    shown = load_settings(home).model_copy(
        update={"show": Show(temperature="degF", mass="oz", length="in"), "time_zone": "Asia/Tokyo"}
    )
    said = text_of(made(home, tmp_path / "far.pdf", settings=shown))
    assert "°C" not in said
    assert not re.search(r"\d g\b", said)
    assert "floor 82.4 °F" in said
    assert "Mon 16 Mar 2026 at 06:39" in said  # Tokyo is nine hours ahead


def test_signs_for_a_vet_stand_first(home: Home, tmp_path: Path) -> None:
    other = make_home(tmp_path / "home")
    with Book(other.book, now_ms=lambda: NOW) as book:
        second = book.meal(2)
        changed = {name: getattr(second, name) for name in Meal.__slots__}
        book.put(Meal(**{**changed, "outcome": Outcome.VOMITED, "signs": Signs.MUCUS}))
        book.put(Dropping("Maren", SECOND + 3 * DAY, Urate.MISSING, Signs.BLOOD, "by the bowl"))
        for week, mass_g in enumerate((905.0, 880.0, 840.0, 780.0)):
            book.put(Weighing("Maren", FIRST + week * 7 * DAY - DAY, mass_g, 182.0))
    said = text_of(made(other, tmp_path / "vet.pdf"))
    assert said.index("mucus in what came back") < said.index("What is not known")
    assert "a vet at once" in said
    assert "urate missing, signs blood" in said
    assert "780 g" in said


def test_what_cannot_be_is_one_line(home: Home, tmp_path: Path) -> None:
    with pytest.raises(NotSo, match="no animal 'Nobody'"):
        made(home, tmp_path / "a.pdf", "Nobody")
    with pytest.raises(Unusable, match="ends before it begins"):
        made(home, tmp_path / "a.pdf", start_ms=NOW + DAY)
    with pytest.raises(Unusable, match="longer than 3 years"):
        made(home, tmp_path / "a.pdf", start_ms=NOW - 1200 * DAY)
    with pytest.raises(Unusable, match=r"name it \.pdf"):
        made(home, tmp_path / "a.png")
    assert list(tmp_path.iterdir()) == []


def test_the_process_makes_the_same_paper(home: Home, paper: bytes, tmp_path: Path) -> None:
    out = tmp_path / "maren.pdf"
    command = [
        sys.executable, "-m", "analysis.for_vet", "--home", str(home.folder), "--animal=Maren",
        f"--start={FIRST - DAY}", f"--end={NOW}", f"--now={NOW}", "--out", str(out),
    ]  # fmt: skip
    subprocess.run(command, check=True, timeout=60)
    assert out.read_bytes() == paper
    done = subprocess.run([*command[:5], "--animal=x", *command[6:]], check=False, timeout=60,
                          capture_output=True, text=True)  # fmt: skip
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1


def test_the_days_are_those_of_the_line(home: Home) -> None:
    """A day's figures by hand: the home's readings are every five minutes, known and few."""
    settings = load_settings(home)
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        found = vet_report(
            "Maren", book, reader, CARE, settings, start_ms=FIRST - DAY, end_ms=NOW, now_ms=NOW
        )
        warm = found.zones["warm side"]
        by_reading = [
            value
            for day in warm.days
            for value in (day.low, day.high)
            if value is not None
        ]  # fmt: skip
        values = track(reader, SeriesKey("warm", Quantity.TEMPERATURE), 0, NOW).value
    assert min(by_reading) == values.min()
    assert max(by_reading) == values.max()
    assert sum(day.hours for day in warm.days) == pytest.approx((NOW - FIRST + DAY) / 3_600_000)
    assert warm.gaps == 2
    assert [round(gap.hours, 2) for gap in warm.longest] == [23.0, 3.08]


def test_thinned_days_keep_lowest_mean_and_highest_and_are_no_gaps(tmp_path: Path) -> None:
    other = make_home(tmp_path / "home")

    def zones() -> dict[str, ZoneDays]:
        with (
            Book(other.book, read_only=True) as book,
            Reader(other.journal, other.archive) as reader,
        ):
            return zones_by_day(
                "Maren", Facts.of(book), Tracks(reader), load_settings(other),
                floor_c=28.0, start_ms=FIRST - 2 * DAY, end_ms=NOW,
            )  # fmt: skip

    whole, old = zones(), raw_days(other.archive)
    newest = max(one.day for one in old)
    thin(other.archive, [one for one in old if one.day < newest], 900_000.0)
    for name, zone in zones().items():
        before = whole[name]
        assert zone.gaps == before.gaps
        # A day of UTC loses the step to the next one: five minutes.
        assert 0 <= before.known_h - zone.known_h <= 32 * 5.1 / 60
        for day, was in zip(zone.days, before.days, strict=True):
            assert day.low == pytest.approx(was.low, abs=0.3)  # the line at local midnight
            assert day.high == pytest.approx(was.high, abs=0.3)
            assert day.mean == pytest.approx(was.mean, abs=0.05)
            assert day.below_h <= was.below_h
    warm = zones()[WARM]
    assert warm.by_hour > 24 * 28
    assert sum(day.below_h for day in warm.days) > 8, "the cold night"
    text = text_of(made(other, tmp_path / "paper.pdf"))
    assert "only the lowest, mean and highest of each hour are kept" in " ".join(text.split())
