"""Thinning changes no review: not now, and not after what is entered later."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from analysis.cli.app import main
from analysis.kept_raw import kept_raw
from analysis.review import review_all
from analysis.thinning import plan, plan_of_home, thin_home
from collector.backup import backup, restore
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Meal,
    Outcome,
    Placement,
    Stay,
    Weighing,
    Zone,
)
from collector.clock import Clock
from collector.readings import Quantity, SeriesKey
from collector.rfc3339 import parse
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import Hour
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from collector.store.thinning import RawDay, raw_days, thin
from config.care import load_care_profile
from config.errors import BadSettings, NotSo, StoreFault
from config.home import Home
from config.settings import Settings, load_settings, parse_settings
from tests.analysis.test_review import NOW as SEASON_NOW
from tests.analysis.test_review import imported

CARE = load_care_profile("boa-constrictor")
HOUR_MS = 3_600_000
START_MS = parse("2026-03-02T00:00:00Z")
DAYS = 150
NOW_MS = START_MS + DAYS * DAY_MS
EVERY_MS = 840_000
PROBES = ("one", "two", "three", "nowhere", "hygro", "room")
ENCLOSURES = ("A", "B", "C")
ANIMALS = ("Ilex", "Oriel")
TOML = "[retention]\nraw_days = 60\n"


@dataclass(frozen=True)
class Seen:
    """What a keeper sees of a home's meals, and the raw readings of their windows."""

    reviews: list[str]
    windows: list[Columns]


def seen(book: Book, reader: Reader, settings: Settings, now_ms: int) -> Seen:
    reviews = review_all(book, reader, CARE, settings, now_ms)
    spans = [(one.window.start_ms - HOUR_MS, one.window.end_ms + HOUR_MS) for one in reviews]
    stays, placements = book.stays(), book.placements()
    windows = []
    for one, (start_ms, end_ms) in zip(reviews, spans, strict=True):
        lived = {s.enclosure for s in stays if s.animal == one.animal and near(s, start_ms, end_ms)}
        probes = sorted(
            {p.probe for p in placements if p.enclosure in lived and near(p, start_ms, end_ms)}
        )
        windows += [
            reader.columns(SeriesKey(probe, quantity), start_ms, end_ms)
            for probe in probes
            for quantity in Quantity
        ]
    return Seen([json.dumps(one.as_json()) for one in reviews], windows)


def near(one: Stay | Placement, start_ms: int, end_ms: int) -> bool:
    return one.since_ms < end_ms and (one.until_ms is None or one.until_ms > start_ms)


def of_home(home: Home) -> Seen:
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        return seen(book, reader, load_settings(home), NOW_MS)


def thinned(home: Home) -> int:
    clock = Clock(now_ms=lambda: NOW_MS, synchronised=lambda: False)
    return thin_home(home, load_settings(home), clock)[1].days


def make_home(folder: Path, seed: int) -> Home:
    """150 days of six probes and two animals that move about, with a few meals."""
    rng, home = random.Random(seed), Home(folder)
    home.readings.mkdir(parents=True)
    home.settings.write_text(TOML)
    with closing(SqliteArchive(home.archive)) as archive:
        archive.write(dict(readings(rng)))
    with Book(home.book, now_ms=lambda: NOW_MS) as book, book.transaction():
        for record in records(rng):
            book.put(record)
    return home


def readings(rng: random.Random) -> Iterator[tuple[SeriesKey, Columns]]:
    for probe in PROBES:
        quantity = Quantity.HUMIDITY if probe == "hygro" else Quantity.TEMPERATURE
        times = [t + rng.randrange(60_000) for t in range(START_MS, NOW_MS - EVERY_MS, EVERY_MS)]
        level, values = 30.0, []
        for _ in times:
            level += 0.02 * (30.0 - level) + rng.uniform(-0.7, 0.7)
            values.append(round(level * 16) / 16)
        doubted = [8 * (rng.random() < 0.02) for _ in times]
        yield SeriesKey(probe, quantity), Columns.ordered(times, values, doubted)


def records(
    rng: random.Random,
) -> Iterator[Enclosure | Animal | Stay | Placement | Meal | Weighing]:
    for name in ENCLOSURES:
        yield Enclosure(name, room="attic" if name != "C" else None)
    for name in ANIMALS:
        yield Animal(name, species="Boa constrictor")
        yield Weighing(name, START_MS, mass_g=900.0)
        for _ in range(3):
            yield Stay(name, rng.choice(ENCLOSURES), moment(rng))
        for _ in range(2):
            at_ms = moment(rng)
            yield Meal(
                0, name, offered_at_ms=at_ms, taken_at_ms=at_ms, prey_mass_g=rng.choice((None, 90)),
                outcome=rng.choice((None, Outcome.KEPT)),
            )  # fmt: skip
    zones = (Zone.WARM_SIDE, Zone.WARM_SIDE, Zone.COOL_SIDE)
    for probe in ("one", "two", "three", "hygro"):
        for _ in range(3):
            yield Placement(probe, rng.choice(ENCLOSURES), rng.choice(zones), moment(rng))
    yield Placement("room", "A", Zone.ROOM, START_MS + 9 * DAY_MS, NOW_MS - 40 * DAY_MS)


def moment(rng: random.Random) -> int:
    return START_MS + rng.randrange(DAYS * 24 * 60) * 60_000


# ---- no review changes --------------------------------------------------------------------------


def test_a_season_with_everything_that_makes_it_hard(tmp_path: Path) -> None:
    """All thinned but what is around meals and each series' last day; seen by one reader."""
    settings, now_ms = Settings(time_zone="Europe/Lisbon"), parse(SEASON_NOW)
    with imported(tmp_path, 1) as kept:
        before = seen(kept.book, kept.reader, settings, now_ms)
        path = tmp_path / "archive.db"
        due = plan(raw_days(path), 1, kept_raw(kept.book, CARE, settings), now_ms)
        assert thin(path, due.days, 900_000.0).days == len(due.days) > 0
        assert seen(kept.book, kept.reader, settings, now_ms) == before


@pytest.mark.parametrize("seed", range(2))
def test_random_books(tmp_path: Path, seed: int) -> None:
    no_review_changes(tmp_path, seed)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(2, 60))
def test_many_random_books(tmp_path: Path, seed: int) -> None:
    no_review_changes(tmp_path, seed)


def no_review_changes(folder: Path, seed: int) -> None:
    """Nor after a later weighing, and another outcome: as on the same home with all raw."""
    home, raw = make_home(folder / "home", seed), Home(folder / "raw")
    shutil.copytree(home.folder, raw.folder)
    before = of_home(home)
    assert before.reviews == of_home(raw).reviews
    assert thinned(home) > 0
    assert of_home(home) == before
    assert thinned(home) == 0
    for one in (home, raw):
        with Book(one.book, now_ms=lambda: NOW_MS) as book:
            for name in ANIMALS:
                book.put(Weighing(name, START_MS + DAY_MS, mass_g=300.0))
            for meal in book.meals():
                book.put(replace(meal, prey_mass_g=250.0, outcome=Outcome.PASSED))
    assert of_home(home) == of_home(raw) != before


# ---- what is thinned ----------------------------------------------------------------------------


def test_what_is_old_and_of_no_meal_is_thinned_and_nothing_else(tmp_path: Path) -> None:
    """Day by day against the words of the rule, for a probe that lay where the animal lives, one
    elsewhere, and one that the book has no place for."""
    home, day = Home(tmp_path), START_MS // DAY_MS
    home.readings.mkdir()
    home.settings.write_text(TOML)
    names = {"there": "A", "elsewhere": "B", "nowhere": None}
    with closing(SqliteArchive(home.archive)) as archive:
        at = range(START_MS, NOW_MS, DAY_MS // 4)
        keys = [SeriesKey(probe, Quantity.TEMPERATURE) for probe in names]
        archive.write({key: Columns.ordered(at, [30.0] * len(at)) for key in keys})
    taken_ms = START_MS + 20 * DAY_MS + 5 * HOUR_MS
    with Book(home.book, now_ms=lambda: NOW_MS) as book:
        for name in ("A", "B"):
            book.put(Enclosure(name))
        book.put(Animal("Ilex"))
        book.put(Stay("Ilex", "A", START_MS - 90 * DAY_MS))
        book.put(Meal(0, "Ilex", taken_at_ms=taken_ms))
        for probe, place in names.items():
            if place is not None:
                book.put(Placement(probe, place, Zone.WARM_SIDE, START_MS - DAY_MS))
    due = plan_of_home(home, load_settings(home), NOW_MS)
    found = {probe: {one.day for one in due.days if one.key.probe == probe} for probe in names}
    old, around = set(range(day, day + DAYS - 60)), set(range(day + 19, day + 36))
    assert found == {"there": old - around, "elsewhere": old, "nowhere": old - around}
    assert due.for_meals == 2 * len(around)


def test_a_clock_far_ahead_thins_nothing_more(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    settings = load_settings(home)
    by_right, ahead = (
        plan_of_home(home, settings, NOW_MS + years * 365 * DAY_MS) for years in (0, 10)
    )
    assert by_right == ahead


def test_the_newest_day_of_a_series_stays() -> None:
    gone, heard = (SeriesKey(name, Quantity.TEMPERATURE) for name in ("gone", "heard"))
    days = [RawDay(1, gone, day, 1, 1) for day in range(3)]
    days += [RawDay(2, heard, day, 1, 1) for day in range(900)]
    with Book(Path("none.db"), read_only=True) as book:
        kept = kept_raw(book, CARE, Settings())
    due = plan(days, 60, kept, 900 * DAY_MS)
    assert [one.day for one in due.days if one.key == gone] == [0, 1]
    assert [one.day for one in due.days if one.key == heard] == list(range(840))


def test_a_clock_that_is_not_sure_thins_nothing(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    early = Clock(now_ms=lambda: NOW_MS - 9 * DAY_MS, synchronised=lambda: False)
    with pytest.raises(StoreFault, match="the clock is not sure yet"):
        thin_home(home, load_settings(home), early)


def test_without_a_whole_book_nothing_is_thinned(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    whole = home.book.read_bytes()
    home.book.unlink()
    with pytest.raises(StoreFault, match="nobody knows which days are of meals"):
        thinned(home)
    home.book.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(StoreFault):
        thinned(home)


# ---- a meal entered afterwards ------------------------------------------------------------------


def test_a_meal_entered_when_its_readings_were_thinned_says_so(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 2)
    assert thinned(home) > 0
    with Book(home.book, now_ms=lambda: NOW_MS) as book:
        book.put(Enclosure("late"))
        book.put(Animal("Wren"))
        book.put(Stay("Wren", "late", START_MS))
        book.put(Placement("nowhere", "late", Zone.WARM_SIDE, START_MS))
        raw = {one.day for one in raw_days(home.archive) if one.key.probe == "nowhere"}
        days = range(START_MS // DAY_MS, NOW_MS // DAY_MS)
        gone = next(day for day in days if not raw & {day, day + 1, day + 2})
        book.put(Meal(0, "Wren", taken_at_ms=gone * DAY_MS))
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        (one,) = review_all(book, reader, CARE, load_settings(home), NOW_MS, animal="Wren")
    assert one.verdict == "not enough readings"
    assert any("are kept by the hour alone" in reason for reason in one.reasons)


# ---- as a keeper does it ------------------------------------------------------------------------


Told = tuple[int, str, str]


@pytest.fixture
def command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Told]:
    """A command on a home: its exit code, and what it says and complains of."""

    def run(home: Home, *words: str) -> Told:
        monkeypatch.setattr(sys, "argv", ["warmcoil", *words, "--home", str(home.folder)])
        code = main()
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_by_hand_it_says_in_a_line_what_it_would_do_and_what_it_did(
    tmp_path: Path, command: Callable[..., Told]
) -> None:
    home = make_home(tmp_path / "home", 1)
    code, would, _ = command(home, "thin", "--dry-run")
    assert code == 0
    assert "probe-days before 2026-05-31 would be thinned (" in would
    assert command(home, "thin") == (0, would.replace("would be thinned", "thinned"), "")
    code, again, _ = command(home, "thin")
    assert code == 0
    assert again.startswith("0 readings of 0 probe-days before 2026-05-31 thinned (0.0 MB)")
    code, out, _ = command(home, "check")
    assert code == 0
    assert "by the hour" in out
    code, out, _ = command(home, "export", "hours", "--from", "2026-03-02", "--to", "2026-03-02")
    head, *rows = out.splitlines()
    assert head == "time,probe,quantity,readings,doubted,min,mean,max,unit"
    assert len([row for row in rows if row.startswith("2026-03-02T00:00:00")]) >= 4
    code, _, err = command(home, "import", "hours", "any.csv")
    assert (code, err.count("they only go out\n")) == (2, 1)
    home.settings.write_text("")
    code, _, err = command(home, "thin")
    assert code == 1
    assert err.startswith("warmcoil: all readings are kept raw; to thin old ones, set raw_days")


def test_what_was_exported_and_is_imported_again_changes_nothing(tmp_path: Path) -> None:
    """Twice: raw readings are there until the next night, and then all is as it was."""
    home = make_home(tmp_path / "home", 1)
    with Reader(home.journal, home.archive) as reader:
        every = {key: reader.columns(key, 0, NOW_MS) for key in reader.series()}
    thinned(home)
    before, hours = of_home(home), hours_of_home(home)
    for _ in range(2):
        with closing(SqliteArchive(home.archive)) as archive:
            archive.write(every)
        assert of_home(home) == before
        assert thinned(home) > 0
        assert (of_home(home), hours_of_home(home)) == (before, hours)
    copy = Home(tmp_path / "copy")
    backup(home, tmp_path / "home.tar")
    restore(tmp_path / "home.tar", copy)
    assert (of_home(copy), hours_of_home(copy)) == (before, hours)


def hours_of_home(home: Home) -> dict[SeriesKey, list[Hour]]:
    with Reader(home.journal, home.archive) as reader:
        return {key: reader.hours(key, 0, NOW_MS) for key in reader.series()}


def test_every_night_it_is_a_process_of_its_own(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    done = subprocess.run(
        [
            sys.executable, "-m", "analysis.thinning", "--home", str(home.folder),
            "--due", str(NOW_MS), "--now", str(NOW_MS),
        ],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, "{}\n", "")
    assert plan_of_home(home, load_settings(home), NOW_MS).days == ()


@pytest.mark.parametrize("days", [0, 59, -1, 10**9])
def test_too_few_days_are_refused_in_a_line(days: int) -> None:
    with pytest.raises(BadSettings, match=rf"raw_days: {days} cannot be; give 60 or more"):
        parse_settings(f"[retention]\nraw_days = {days}\n", "a.toml")


def test_a_home_without_the_setting_keeps_everything(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    with pytest.raises(NotSo, match="all readings are kept raw"):
        plan_of_home(home, Settings(), NOW_MS)
