"""Clocks that are wrong: 1970, steps of hours, the nights they change, 29 February.

What holds: no reading is lost, none is twice, no interval is negative, and no meal is judged on
hours that there were not.
"""

from __future__ import annotations

import itertools
import random
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from analysis.exposure import line_of
from analysis.for_vet.days import WARM, zones_by_day
from analysis.gathering import Facts
from analysis.review import review_all
from analysis.tracks import Tracks
from analysis.watch.states import Cause, Kind
from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Meal, Placement, Stay, Weighing, Zone
from collector.clock import RELEASED_MS
from collector.readings import Quantity, SeriesKey
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.settings import Settings
from tests.analysis.watch.test_watcher import START_MS
from tests.analysis.watch.test_watcher import Bench as WatchBench
from tests.collector.test_pipeline import Bench, untimed
from tests.collector_process import CollectorProcess, make_home, stored
from tests.faults.feeders import LineNode
from tests.faults.record import Promise, told
from tests.plug import eventually

pytestmark = pytest.mark.timeout(1800)

HOUR_MS = 3_600_000
MINUTE_MS = 60_000
GAP_MS = 15 * MINUTE_MS
STEPS_MS = (-6 * HOUR_MS, -HOUR_MS, -MINUTE_MS, -1, 1, 2000, HOUR_MS, 5 * HOUR_MS)


# ---- the collector's clock -----------------------------------------------------------------------


def test_the_collectors_clock_wakes_in_1970_and_steps(
    tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    runs, taken, kept = times(10, 500), 0, 0
    for seed in range(runs):
        said, numbers, lines_ok = stepped(tmp_path / str(seed), seed)
        taken, kept = taken + said, kept + len(set(numbers))
        assert sorted(numbers) == list(range(said)), seed  # each once
        assert lines_ok, seed
    told(
        Promise.CLOCK, "the collector's clock wakes in 1970 and steps by hours", tried=runs,
        lost=taken - kept, of=f"readings of {taken:,}",
    )  # fmt: skip
    assert kept == taken


def stepped(folder: Path, seed: int) -> tuple[int, list[int], bool]:
    """One life of a collector: how many readings were said, which were kept, and whether every
    interval of the line through them is one."""
    chance, number = random.Random(seed), 0
    folder.mkdir()
    bench = Bench(folder)
    right_ms = bench.ms
    with closing(bench.journal):
        bench.clock_is_right = False
        bench.ms = chance.randrange(1, 10**6) if chance.random() < 0.7 else right_ms
        for _ in range(60):
            bench.let_pass(chance.choice([0.0, 0.001, 1.0, 10.0, 60.0]) * (1 + chance.random()))
            match chance.randrange(8):
                case 0:
                    bench.ms += chance.choice(STEPS_MS) + chance.randrange(1000)
                case 1:
                    bench.ms = right_ms = right_ms + 60_000 + chance.randrange(1000)
                    bench.clock_is_right = True
                case 2:
                    bench.pipeline.commit()
                case _:
                    text = untimed(float(number), "clocked")
                    if number % 2:
                        bench.serial(text)
                    else:
                        bench.mqtt(number + 1, text)
                    number += 1
            bench.pipeline.tick()
        bench.ms, bench.clock_is_right = right_ms + HOUR_MS, True
        bench.pipeline.tick()
        bench.pipeline.commit()
        stored = bench.stored()
    at_ms = [one.at_ms for one in stored]
    line = line_of(at_ms, [one.raw for one in stored], GAP_MS)
    span_h = (at_ms[-1] - at_ms[0]) / HOUR_MS if at_ms else 0.0
    lines_ok = (
        all(a < b for a, b in itertools.pairwise(at_ms))
        and bool(np.all(line.length_ms > 0))
        and 0.0 <= line.known_hours <= span_h + 1e-9
        and min(at_ms, default=RELEASED_MS) >= RELEASED_MS - 24 * HOUR_MS
    )
    return number, [round(one.raw) for one in stored], lines_ok


# ---- the watch's clock ---------------------------------------------------------------------------


def test_the_watchs_clock_wakes_in_1970_and_steps(
    tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    """Readings have their own right times; a warm side that fails is told, a good one is not."""
    runs, missed, worst_min = times(1, 100), 0, 0.0
    for seed in range(runs):
        delay_min = failing_under_steps(tmp_path / str(seed), seed)
        missed += delay_min is None
        worst_min = max(worst_min, delay_min or 0.0)
    told(
        Promise.CLOCK, "the watch's clock wakes in 1970 and steps by hours", tried=runs,
        lost=missed, of=f"alarms of {runs}",
        note=f"raised {worst_min:.0f} min after the fall at the most",
    )  # fmt: skip
    assert missed == 0


def failing_under_steps(folder: Path, seed: int) -> float | None:
    """Minutes from the fall to the alarm; None: it never came. Fails on a false one."""
    chance = random.Random(seed)
    bench = WatchBench(folder)
    bench.synchronised = False
    try:
        true_ms = START_MS
        bench.now_ms = chance.choice([1000, true_ms])
        for minute in range(150):
            true_ms += MINUTE_MS
            bench.sleep(1)
            if minute in (20, 45, 70):  # it steps; and is put right a little later
                bench.now_ms = true_ms + chance.choice(STEPS_MS)
            if minute in (10, 35, 60, 85):
                bench.now_ms, bench.synchronised = true_ms, True
            bench.stage.commit((true_ms, 31.0 if minute < 100 else 24.0))
            bench.watcher.cycle()
        moments = bench.transitions()
    finally:
        bench.close()
    assert all(one.at_ms >= 0 for one in moments)
    low = [one for one in moments if one.key.kind is Kind.WARM_SIDE_LOW]
    assert [one.cause for one in low if one.cause in (Cause.RAISED, Cause.CLEARED)] in (
        [], [Cause.RAISED],
    )  # fmt: skip
    if not low:
        return None
    fell_ms = START_MS + 101 * MINUTE_MS
    assert low[0].at_ms >= fell_ms
    return (low[0].at_ms - fell_ms) / MINUTE_MS


# ---- real processes ------------------------------------------------------------------------------

LIBFAKETIME = next(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"), None)
"""Of Debian's package libfaketime."""


@pytest.mark.campaign
@pytest.mark.skipif(LIBFAKETIME is None, reason="libfaketime is not installed")
def test_a_collector_that_is_started_in_1970_and_put_right_twice(tmp_path: Path) -> None:
    """A real process under a clock that lies: every reading is kept, and dated within 5 s."""
    shift = tmp_path / "shift"
    environment = {
        "LD_PRELOAD": str(LIBFAKETIME), "FAKETIME_TIMESTAMP_FILE": str(shift),
        "FAKETIME_NO_CACHE": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1",
    }  # fmt: skip
    shift.write_text(f"{60 - round(time.time())}", "ascii")
    with LineNode(tmp_path / "node", timed=False) as node:
        home = make_home(
            tmp_path / "home",
            f"""
            [collect]
            commit_seconds = 0.5
            [[serial]]
            port = "{node.socket.link}"
            """,
        )
        collector = CollectorProcess(home, **environment)
        try:
            assert eventually(lambda: collector.said(": open"), 60)
            assert "1970-01-01T" in collector.log.read_text("utf-8")
            node.begin()
            assert eventually(lambda: collector.said("held"), 30)
            time.sleep(3)
            assert stored(home) == []
            for seconds in (0, -7200, 0, 7200, 0):
                shift.write_text(f"{seconds:+d}", "ascii")
                time.sleep(2.5)
            said = node.stop()
            assert eventually(lambda: len(stored(home)) == said, 30)
        finally:
            code = collector.stop()[0]
    kept = stored(home)
    # In the two and a half seconds of each step they are dated by it: two hours off, no more.
    off_ms = [min(abs(one.at_ms - node.at_ms[round(one.raw)] - shifted) for shifted in SHIFTS_MS)
              for one in kept]  # fmt: skip
    told(
        Promise.CLOCK, "a collector under libfaketime: started in 1970, put right, stepped by 2 h",
        tried=5, lost=said - len({one.raw for one in kept}), of=f"readings of {said}",
        note=f"dated within {max(off_ms)} ms of the clock's own time",
    )  # fmt: skip
    assert sorted(round(one.raw) for one in kept) == list(range(said))
    assert max(off_ms) < 5000
    assert code == 0


SHIFTS_MS = (0, -2 * HOUR_MS, 2 * HOUR_MS)


# ---- nights and days that are not like others ----------------------------------------------------


@dataclass(frozen=True)
class Night:
    """A local day with its length in h."""

    zone: str
    day: str
    hours: float


NIGHTS = [
    # European Union: last Sundays of March and October (directive 2000/84/EC); United States:
    # second Sunday of March, first of November (Energy Policy Act of 2005). 2028 is a leap year.
    Night("Europe/Lisbon", "2026-03-29", 23),
    Night("Europe/Lisbon", "2026-10-25", 25),
    Night("America/New_York", "2026-03-08", 23),
    Night("America/New_York", "2026-11-01", 25),
    Night("Europe/Lisbon", "2028-02-29", 24),
    Night("America/New_York", "2028-02-29", 24),
]


def readings_of(start_ms: int, end_ms: int, cold: Callable[[int], bool]) -> Columns:
    """A reading every 5 minutes, warm or cold, and a step of 1 ms between the two."""
    at_ms: list[int] = []
    for at in range(start_ms, end_ms + 1, 5 * MINUTE_MS):
        if at_ms and cold(at) != cold(at_ms[-1]):
            at_ms.append(at - 1)
        at_ms.append(at)
    return Columns.ordered(at_ms, [24.0 if cold(at) else 31.0 for at in at_ms])


@pytest.fixture
def home_of(tmp_path: Path) -> Iterator[Callable[[str, Columns, int], tuple[Book, Reader]]]:
    """A book with a meal, and a reader of one warm-side probe."""
    opened: list[Book | Reader] = []

    def make(name: str, columns: Columns, taken_ms: int) -> tuple[Book, Reader]:
        folder = tmp_path / name
        folder.mkdir()
        with closing(SqliteArchive(folder / "archive.db")) as archive:
            archive.write({SeriesKey("w", Quantity.TEMPERATURE): columns})
        book = Book(folder / "book.db", now_ms=lambda: taken_ms + 30 * 24 * HOUR_MS)
        since = taken_ms - 10 * 24 * HOUR_MS
        for record in (
            Enclosure("Larch"), Animal("Tove"), Stay("Tove", "Larch", since),
            Placement("w", "Larch", Zone.WARM_SIDE, since), Weighing("Tove", since, 2000.0),
            Meal(0, "Tove", taken_at_ms=taken_ms, prey="rat", prey_count=1, prey_mass_g=200.0),
        ):  # fmt: skip
            book.put(record)
        reader = Reader(folder / "journal.db", folder / "archive.db")
        opened.extend((book, reader))
        return book, reader

    yield make
    for one in opened:
        one.close()


def test_nights_on_which_the_clocks_change_and_29_february(
    home_of: Callable[[str, Columns, int], tuple[Book, Reader]],
) -> None:
    """Cold for three hours of UTC about the change, and a meal the evening before: the local day
    has its 23, 24 or 25 h, and every duration is that of UTC."""
    care = load_care_profile("boa-constrictor")
    wrong = 0
    for number, night in enumerate(NIGHTS):
        zone = ZoneInfo(night.zone)
        start = datetime.fromisoformat(night.day).replace(tzinfo=zone)
        start_ms = round(start.timestamp() * 1000)
        end_ms = round((start + timedelta(days=1)).timestamp() * 1000)
        taken_ms = start_ms - 3 * HOUR_MS
        cold_ms = range(start_ms + HOUR_MS // 2, start_ms + 7 * HOUR_MS // 2)
        columns = readings_of(
            start_ms - 24 * HOUR_MS, start_ms + 96 * HOUR_MS, cold_ms.__contains__
        )
        book, reader = home_of(str(number), columns, taken_ms)
        settings = Settings(time_zone=night.zone)
        days = zones_by_day(
            "Tove", Facts.of(book), Tracks(reader), settings,
            floor_c=28.0, start_ms=start_ms, end_ms=end_ms,
        )[WARM].days  # fmt: skip
        assert [(day.start_ms, day.end_ms) for day in days] == [(start_ms, end_ms)]
        (day,) = days
        now_ms = taken_ms + 90 * HOUR_MS
        (one,) = review_all(book, reader, care, settings, now_ms)
        assert one.warm_side is not None
        below = {row.below_c: row for row in one.warm_side.below}
        exact = [
            (day.hours, night.hours),
            (day.known_h, night.hours),
            (day.below_h, 3.0),
            (one.window.hours, 90.0),
            (one.coverage.known_hours, 90.0),
            (below[28.0].hours, 3.0),
            (below[28.0].longest_spell_hours, 3.0),
            (below[25.0].degree_hours, 3.0),
        ]
        wrong += any(abs(is_h - should_h) > 2e-6 for is_h, should_h in exact)
        assert [is_h for is_h, _ in exact] == pytest.approx([h for _, h in exact], abs=2e-6), night
    told(
        Promise.CLOCK, "nights on which clocks change, in two zones, and 29 February",
        tried=len(NIGHTS), lost=wrong, of="days with wrong hours",
    )  # fmt: skip
