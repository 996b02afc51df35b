"""A demo home built whole, and the judgement of its meals against the story."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from analysis.demo.build import build_home
from analysis.demo.calendar import DAY_MS, HOUR_MS, MINUTE_MS, Calendar
from analysis.demo.collection import OMBRA, PILCHARD, SORREL, TANSY, Kept
from analysis.demo.history import PARTS, reading_times, write_readings
from analysis.demo.places import DemoPlaces
from analysis.demo.records import write_records
from analysis.demo.settings import demo_settings
from analysis.demo.story import Story, write_story
from analysis.demo.tour import sights
from analysis.review import Review, review_all
from collector.book.book import Book
from collector.book.records import Outcome
from collector.exchange import import_file
from collector.readings import Flag, Quantity, SeriesKey
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.errors import NotSo, Unusable
from config.home import Home
from config.settings import load_settings, parse_settings
from hardware.rack.broker import Broker

NOW_MS = 1_795_600_800_000  # 2026-11-25 10:00 UTC


def reviews(home: Home) -> list[Review]:
    care = load_care_profile("boa-constrictor")
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        return review_all(book, reader, care, load_settings(home), NOW_MS)


# ---- a short home, built as `warmcoil demo` builds it ------------------------------------------


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> tuple[Home, Story]:
    home = Home(tmp_path_factory.mktemp("demo") / "home")
    return home, build_home(home, days=20, now_ms=NOW_MS)


def test_the_home_is_whole_and_nothing_is_left_beside_it(short: tuple[Home, Story]) -> None:
    home, story = short
    assert [p.name for p in home.folder.parent.iterdir()] == ["home"]
    places = DemoPlaces(home)
    assert places.are_built()
    assert load_settings(home).serial[0].port == str(places.serial)
    assert not list(places.folder.glob("*.csv"))
    with Book(home.book, read_only=True) as book:
        assert len(book.meals()) == len(story.offers)
        assert len(book.weighings()) == len(story.weighings)
        assert len(book.handlings()) == len(story.handlings)
        assert len(book.placements()) == len(story.seats)
        assert book.sheds() == sorted(story.sheds, key=lambda one: one.at_ms)
        assert len(book.looks()) == len(story.looks)
        assert len(book.droppings()) == len(story.droppings)
        signs = [(m.animal, m.offered_at_ms) for m in book.meals() if m.signs is not None]
        assert signs == [(o.kept.animal, o.offered_ms) for o in story.offers if o.signs is not None]
        assert signs
        assert len(sights(book, places.highlights)) == len(story.highlights) == 5


def test_every_reading_of_the_story_is_there(short: tuple[Home, Story]) -> None:
    home, story = short
    times = list(reading_times(story.calendar))
    with Reader(home.journal, home.archive) as reader:
        series = reader.series()
        warm = reader.columns(
            SeriesKey(PARTS[0][0].probe, Quantity.TEMPERATURE), 0, NOW_MS + DAY_MS
        )
    assert len(series) == 13
    (cut,) = [f for f in story.faults if type(f).__name__ == "PowerCut"]
    assert list(warm.at_ms) == [t for t in times if not cut.from_ms <= t < cut.until_ms]
    # The power-on value after the cut is kept and doubted.
    assert [Flag(flag) for flag in warm.flags if flag] == [Flag.POWER_ON]
    assert warm.raw[warm.flags.index(Flag.POWER_ON)] == 85.0


def test_importing_the_records_again_changes_nothing(short: tuple[Home, Story]) -> None:
    home, _ = short
    settings = load_settings(home)
    with Book(home.book) as book, closing(SqliteArchive(home.archive)) as archive:
        for path in sorted(DemoPlaces(home).records.glob("*.csv")):
            done = import_file(
                path.stem, path, book=book, archive=archive, settings=settings,
                progress=lambda _done, _all: None,
            )  # fmt: skip
            with path.open(encoding="utf-8", newline="") as file:
                rows = sum(1 for _ in csv.reader(file)) - 1
            assert (done.rows, done.added, done.changed) == (rows, 0, 0)


def test_a_short_story_is_judged_as_it_happened(short: tuple[Home, Story]) -> None:
    judged = {r.animal: r for r in reviews(short[0]) if r.outcome is not None}
    assert judged[PILCHARD.animal].verdict == "too cool"
    assert judged[SORREL.animal].verdict == "not enough readings"
    assert judged[OMBRA.animal].verdict == "warm enough"
    assert judged[TANSY.animal].verdict == "warm enough"


def test_a_taken_folder_is_left_alone(tmp_path: Path, short: tuple[Home, Story]) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(Unusable, match="not an empty folder"):
        build_home(Home(kept), days=20)
    own = tmp_path / "own"
    own.mkdir()
    (own / "warmcoil.toml").write_text("", encoding="utf-8")
    with pytest.raises(NotSo, match="not the demo's"):
        build_home(Home(own), days=20)
    with pytest.raises(Unusable, match="built already"):
        build_home(short[0], days=20)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["kept", "own"]
    assert (kept / "letter.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_an_interrupted_build_leaves_no_home_and_no_process(
    tmp_path: Path, how: signal.Signals
) -> None:
    # A shell starts what it puts in the background with SIGINT ignored.
    program = (
        "import signal, sys; signal.signal(signal.SIGINT, signal.SIG_IGN);"
        "from pathlib import Path; from analysis.demo import run_demo;"
        "from config.home import Home; run_demo(Home(Path(sys.argv[1])), days=400)"
    )
    folder = tmp_path / "home"
    command = [sys.executable, "-c", program, str(folder)]
    quiet = subprocess.DEVNULL
    building = subprocess.Popen(command, stdout=quiet, stderr=quiet)
    staging = tmp_path / ".home.building"
    try:
        while not list(staging.glob("demo/readings-*.csv")):
            assert building.poll() is None
            time.sleep(0.05)
        building.send_signal(how)
        building.wait(20)
    finally:
        building.kill()
    assert not folder.exists()
    if how is not signal.SIGKILL:
        assert list(tmp_path.iterdir()) == []
        return
    # Killed: the writers die on their leash, and the next build clears up.
    sizes: list[int] = []
    while len(sizes) < 2 or sizes[-1] != sizes[-2]:
        sizes.append(sum(p.stat().st_size for p in staging.rglob("*.csv")))
        time.sleep(0.5)
        assert len(sizes) < 40
    build_home(Home(folder), days=20, now_ms=NOW_MS)
    assert os.listdir(tmp_path) == ["home"]  # noqa: PTH208


# ---- the full story, with readings only where something is judged ------------------------------


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> tuple[Story, dict[int, Review]]:
    """The story of 400 days and its reviews by the time of the meal; readings every 10 min."""
    home = Home(tmp_path_factory.mktemp("full"))
    home.readings.mkdir()
    story = write_story(Calendar(NOW_MS, 400), 7)
    text = demo_settings(
        story, serial=Path("serial"), broker=Broker("mosquitto", (), "5"), broker_port=1,
        page_port=2,
    )  # fmt: skip
    home.settings.write_text(text, encoding="utf-8")
    settings = parse_settings(text, "here")
    spans = [(h.taken_ms - HOUR_MS, h.taken_ms + 15 * DAY_MS) for h in story.highlights]
    grid = range(story.calendar.start_ms, NOW_MS, 10 * MINUTE_MS)
    times = [t for t in grid if any(start <= t < end for start, end in spans)]
    with Book(home.book) as book, closing(SqliteArchive(home.archive)) as archive:
        files = [*write_records(story, home.folder).items()]
        for part in range(len(PARTS)):
            path = home.folder / f"part-{part}.csv"
            for _ in write_readings(story, part, path, times):
                pass
            files.append(("readings", path))
        for kind, path in files:
            import_file(
                kind, path, book=book, archive=archive, settings=settings,
                progress=lambda _done, _all: None,
            )  # fmt: skip
    return story, {r.taken_at_ms: r for r in reviews(home)}


def told(full: tuple[Story, dict[int, Review]], kept: Kept, word: str) -> Review:
    """The review of the animal's meal whose highlight has that word in it."""
    story, judged = full
    (found,) = [h for h in story.highlights if h.animal == kept.animal and word in h.text]
    return judged[found.taken_ms]


def test_the_failed_heater_is_too_cool_and_comes_back(
    full: tuple[Story, dict[int, Review]],
) -> None:
    meal = told(full, PILCHARD, "heater failed")
    assert (meal.verdict, meal.outcome) == ("too cool", Outcome.REGURGITATED)


def test_the_power_cut_leaves_too_few_readings(full: tuple[Story, dict[int, Review]]) -> None:
    meal = told(full, SORREL, "power cut")
    assert (meal.verdict, meal.possible) == ("not enough readings", "too cool")
    assert meal.coverage.longest_gap_hours == pytest.approx(9.5, abs=0.4)


def test_the_drifting_thermostat_is_cool(full: tuple[Story, dict[int, Review]]) -> None:
    meal = told(full, OMBRA, "wandered down")
    assert (meal.verdict, meal.outcome) == ("cool", Outcome.PASSED)


def test_the_stuck_relay_is_too_hot(full: tuple[Story, dict[int, Review]]) -> None:
    assert told(full, PILCHARD, "stuck").verdict == "too hot"


def test_the_fallen_probe_reads_cool_though_it_was_not(
    full: tuple[Story, dict[int, Review]],
) -> None:
    meal = told(full, SORREL, "lay on the cool side")
    assert meal.verdict in ("cool", "too cool")
    assert meal.outcome is Outcome.PASSED


@pytest.mark.parametrize(
    ("kept", "word", "factor"),
    [
        (OMBRA, "handled", "handled"),
        (TANSY, "42 %", "prey"),
        (SORREL, "half frozen", "surface"),
    ],
)
def test_a_meal_that_came_back_from_the_warm_breaks_a_rule(
    full: tuple[Story, dict[int, Review]], kept: Kept, word: str, factor: str
) -> None:
    meal = told(full, kept, word)
    assert (meal.verdict, meal.outcome) == ("warm enough", Outcome.REGURGITATED)
    broken = [f.factor for f in meal.factors if f.finding == "breaks the rule"]
    assert any(factor in name for name in broken), broken


def test_the_swapped_probe_leaves_the_verdict_whole(
    full: tuple[Story, dict[int, Review]],
) -> None:
    meal = told(full, PILCHARD, "cool-side probe died")
    assert meal.verdict == "warm enough"
    assert meal.cool_side is not None
    assert meal.cool_side.min_c is not None
    assert meal.cool_side.min_c > 20.0  # −127 °C is not among what is used


def test_the_latest_meal_is_under_way(full: tuple[Story, dict[int, Review]]) -> None:
    meal = told(full, OMBRA, "under way")
    assert meal.outcome is None
    assert meal.window.end_ms == NOW_MS
