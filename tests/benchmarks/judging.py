"""Measures the judging of meals: `python -m tests.benchmarks.judging [FOLDER] [--enclosures N]`.

Ten enclosures over three years, each with a warm side, a cool side and humidity every 30 s: 95
million readings, and 1,500 meals. `warmcoil review --json` is run as a keeper runs it, on files
that the kernel has forgotten. Beside it what a user would take instead: pandas over one table of
all readings, the hours below 28 °C of each meal counted by the readings.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

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
from collector.readings import Quantity, SeriesKey
from collector.store.columns import DAY_MS
from collector.store.sqlite_archive import SqliteArchive
from config.home import Home
from tests.benchmarks.figures import Line, figure, forget_cached, run, say
from tests.benchmarks.series import wandering

START_MS = 1_672_531_200_000
"""2023-01-01T00:00:00Z."""
EVERY_MS = 30_000
MEALS_EACH = 150
FLOOR_C = 28.0
WARMCOIL = str(Path(sys.executable).with_name("warmcoil"))


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.judging")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--enclosures", type=int, default=10)
    parser.add_argument("--days", type=int, default=1_096)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        home = Home(Path(folder) / "home")
        readings = furnish(home, given.enclosures, given.days)
        for line in judged(home, given.enclosures, readings):
            say(line)


def judged(home: Home, enclosures: int, readings: int) -> Iterator[Line]:
    """Cold: the whole, a third of it, and pandas over the table."""
    until = {}
    for third in (1, 3):
        forget_cached(home.folder)
        whole = ["review", "--json"] if third == 3 else ["review", "--json", *_some(enclosures)]
        ran = run([WARMCOIL, *whole, "--home", str(home.folder)])
        until[third] = (ran, len(json.loads(ran.output)))
    (some, few), (ran, meals) = until[1], until[3]
    with_pandas = run([sys.executable, "-m", __spec__.name, "pandas", str(home.folder)])
    beside = {"pandas over one table": with_pandas.seconds}
    yield figure(
        "seconds to judge all meals, cold", ran.seconds, "s", goal="≤ 10",
        beside=beside, meals=meals, readings=readings, processor_s=round(ran.cpu_s, 2),
    )  # fmt: skip
    yield figure(
        "most memory while judging", ran.most_mb, "MB", goal="≤ 250",
        beside={"pandas over one table": with_pandas.most_mb},
    )  # fmt: skip
    yield figure(
        "milliseconds a meal more", (ran.seconds - some.seconds) / (meals - few) * 1_000, "ms",
        goal="linear", beside={"mean of the smaller run": some.seconds / few * 1_000}, meals=few,
    )  # fmt: skip


def _some(enclosures: int) -> list[str]:
    return ["--animal", "A0"] if enclosures > 1 else []


def furnish(home: Home, enclosures: int, days: int) -> int:
    """The home's files; how many readings are in them."""
    home.folder.mkdir(parents=True)
    home.readings.mkdir()
    home.settings.write_text('time_zone = "Europe/Lisbon"\n', "utf-8")
    end_ms = START_MS + (days + 30) * DAY_MS
    with Book(home.book, now_ms=lambda: end_ms) as book, book.transaction():
        for one in range(enclosures):
            _enclosure(book, one, days)
    count = 0
    with closing(SqliteArchive(home.archive)) as archive:
        for one in range(enclosures):
            for n, (name, quantity) in enumerate(_series(one)):
                columns = wandering(
                    days, seed=3 * one + n, start_ms=START_MS, every_ms=EVERY_MS,
                    level=(31.0, 26.0, 62.0)[n],
                )  # fmt: skip
                archive.write({SeriesKey(name, quantity): columns})
                count += len(columns)
    return count


def _series(one: int) -> list[tuple[str, Quantity]]:
    return [
        (f"warm-{one}", Quantity.TEMPERATURE),
        (f"cool-{one}", Quantity.TEMPERATURE),
        (f"cool-{one}", Quantity.HUMIDITY),
    ]


def _enclosure(book: Book, one: int, days: int) -> None:
    book.put(Enclosure(f"E{one}", "room"))
    book.put(Animal(f"A{one}"))
    book.put(Stay(f"A{one}", f"E{one}", START_MS))
    book.put(Placement(f"warm-{one}", f"E{one}", Zone.WARM_SIDE, START_MS))
    book.put(Placement(f"cool-{one}", f"E{one}", Zone.COOL_SIDE, START_MS))
    for day in range(0, days, 60):
        book.put(Weighing(f"A{one}", START_MS + day * DAY_MS, 2_000.0 + day))
    for n in range(MEALS_EACH):
        at_ms = START_MS + round((n + 0.5) * days / MEALS_EACH * DAY_MS)
        book.put(
            Meal(
                0, f"A{one}", taken_at_ms=at_ms, prey="rat", prey_count=1, prey_mass_g=200.0,
                outcome=Outcome.KEPT, outcome_at_ms=at_ms + 6 * DAY_MS,
            )
        )  # fmt: skip


def with_pandas(folder: Path) -> None:
    """The same question asked of one table in memory, as it is often done; prints the hours."""
    import pandas as pd

    from analysis.frames import frame
    from collector.store.reader import Reader

    home = Home(folder)
    with Reader(home.journal, home.archive) as reader:
        keys = [key for key in reader.series() if key.probe.startswith("warm-")]
        table = frame(reader, keys, START_MS, 2**62)
    with Book(home.book, now_ms=lambda: 0, read_only=True) as book:
        meals = book.meals()
    tables = {name: one.sort_index()["value"] for name, one in table.groupby("probe")}
    for meal in meals:
        start = pd.Timestamp(meal.taken_at_ms or 0, unit="ms", tz="UTC")
        window = tables[f"warm-{meal.animal[1:]}"].loc[start : start + pd.Timedelta(days=7)]
        hours = (window < FLOOR_C).sum() * EVERY_MS / 3_600_000
        sys.stdout.write(f"{meal.animal} {hours:.1f}\n")


if __name__ == "__main__":
    if sys.argv[1:2] == ["pandas"]:
        with_pandas(Path(sys.argv[2]))
    else:
        main()
