"""Measures the paper for the vet: `python -m tests.benchmarks.paper [FOLDER] [--probes N]`.

One animal over three years with 150 meals, in an enclosure of sixteen probes that are read every
30 s: 50 million readings. Beside it a year of the warm side as the page plots it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from analysis.gathering import Facts
from analysis.page.zone_series import zone_series
from analysis.tracks import Tracks
from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Meal, Outcome, Placement, Stay, Weighing, Zone
from collector.readings import Quantity, SeriesKey
from collector.store.columns import DAY_MS
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.home import Home
from tests.benchmarks.figures import figure, forget_cached, run, say
from tests.benchmarks.judging import EVERY_MS, START_MS
from tests.benchmarks.series import wandering

DAYS, MEALS = 1_096, 150
ZONES = (Zone.WARM_SIDE, Zone.COOL_SIDE, Zone.HIDE, Zone.HOT_SPOT)


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.paper")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--probes", type=int, default=16)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        home = Home(Path(folder) / "home")
        readings = furnish(home, given.probes)
        end_ms, out = START_MS + DAYS * DAY_MS, Path(folder) / "paper.pdf"
        forget_cached(home.folder)
        ran = run([
            sys.executable, "-m", "analysis.for_vet", f"--home={home.folder}", "--animal=A",
            f"--start={START_MS}", f"--end={end_ms}", f"--now={end_ms}", f"--out={out}",
        ])  # fmt: skip
        size = out.stat().st_size / 1e6
        say(figure("seconds to make the paper, cold", ran.seconds, "s", goal="≤ 180",
                   readings=readings, processor_s=round(ran.cpu_s, 2), paper_mb=size))  # fmt: skip
        say(figure("most memory while making it", ran.most_mb, "MB", goal="≤ 400"))
        year_s = year_of_warm_side(home, end_ms)
        say(figure("seconds for the plot of a year of the warm side", year_s, "s"))


def furnish(home: Home, probes: int) -> int:
    """The home's files; how many readings are in them."""
    home.readings.mkdir(parents=True)
    home.settings.write_text('time_zone = "Europe/Lisbon"\n', "utf-8")
    end_ms = START_MS + (DAYS + 30) * DAY_MS
    with Book(home.book, now_ms=lambda: end_ms) as book, book.transaction():
        book.put(Enclosure("E", "room"))
        book.put(Animal("A"))
        book.put(Stay("A", "E", START_MS))
        for one in range(probes):
            book.put(Placement(f"p{one}", "E", ZONES[one % len(ZONES)], START_MS))
        for day in range(0, DAYS, 30):
            book.put(Weighing("A", START_MS + day * DAY_MS, 2_000.0 + day))
        for n in range(MEALS):
            at_ms = START_MS + round((n + 0.5) * DAYS / MEALS * DAY_MS)
            end = Outcome.REGURGITATED if n % 10 == 0 else Outcome.KEPT
            book.put(Meal(0, "A", taken_at_ms=at_ms, prey="rat", prey_count=1, prey_mass_g=200.0,
                          outcome=end, outcome_at_ms=at_ms + 3 * DAY_MS))  # fmt: skip
    count = 0
    with closing(SqliteArchive(home.archive)) as archive:
        for one in range(probes):
            level = (30.5, 26.0, 28.0, 33.0)[one % len(ZONES)]
            columns = wandering(DAYS, seed=one, start_ms=START_MS, every_ms=EVERY_MS, level=level)
            archive.write({SeriesKey(f"p{one}", Quantity.TEMPERATURE): columns})
            count += len(columns)
    return count


def year_of_warm_side(home: Home, end_ms: int) -> float:
    """How long its numbers take, as the page asks for them."""
    with (
        Book(home.book, read_only=True) as book,
        Reader(home.journal, home.archive) as reader,
    ):
        began = time.perf_counter()
        zone_series(
            "E", Zone.WARM_SIDE, Quantity.TEMPERATURE, end_ms - 366 * DAY_MS, end_ms,
            placements=Facts.of(book).placements, tracks=Tracks(reader), gap_ms=900_000.0,
            columns=1_720,
        )  # fmt: skip
        return time.perf_counter() - began


if __name__ == "__main__":
    main()
