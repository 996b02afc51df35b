"""Measures cost against size: `python -m tests.benchmarks.scale [FOLDER] [--most N]`.

Two ways to grow: 1, 10 and 100 million readings of ten enclosures (forty series); and ten million
readings of 10, 100 and 1,000 enclosures. For each what a reading costs to write and to keep, and
what a day of one probe costs to read; beside the smallest of its row. One JSON line a figure.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from analysis.frames import track
from collector.readings import Quantity, SeriesKey
from collector.store.columns import DAY_MS
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from tests.benchmarks.figures import Line, figure, say, shortest_s
from tests.benchmarks.series import wandering
from tests.collector.store.series import DAY_0_MS

SERIES_EACH = 4
EVERY_MS = 30_000
A_DAY = DAY_MS // EVERY_MS
MILLIONS = (1, 10, 100)
ENCLOSURES = (10, 100, 1_000)


@dataclass(frozen=True, slots=True)
class Size:
    """How much there is."""

    enclosures: int
    millions: float

    @property
    def days(self) -> int:
        """Days that make up so many readings."""
        return max(2, round(self.millions * 1e6 / (self.enclosures * SERIES_EACH * A_DAY)))


@dataclass(frozen=True, slots=True)
class Cost:
    """What it costs, each for itself."""

    write_us: float
    kept_bytes: float
    window_ms: float
    newest_ms: float


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.scale")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--most", type=float, default=100, help="millions of readings")
    given = parser.parse_args()
    rows = [
        [Size(10, millions) for millions in MILLIONS if millions <= given.most],
        [Size(enclosures, min(10, given.most)) for enclosures in ENCLOSURES],
    ]
    for row in rows:
        for line in measured(row, given.folder):
            say(line)


def measured(row: Sequence[Size], base: str | None) -> Iterator[Line]:
    """Every size of a row beside its first."""
    first: Cost | None = None
    for size in row:
        with tempfile.TemporaryDirectory(dir=base) as folder:
            cost = _cost(Path(folder), size)
        first = first or cost
        of = {"enclosures": size.enclosures, "millions_of_readings": size.millions}
        for name, value, smallest, unit in (
            ("processor to write a reading", cost.write_us, first.write_us, "µs"),
            ("bytes kept for a reading, every 30 s", cost.kept_bytes, first.kept_bytes, "bytes"),
            ("a day of one probe", cost.window_ms, first.window_ms, "ms"),
            ("the newest reading of a series", cost.newest_ms, first.newest_ms, "ms"),
        ):
            yield figure(
                name, value, unit, goal="flat", beside={"the smallest": smallest}, **of
            )  # fmt: skip


def _cost(folder: Path, size: Size) -> Cost:
    keys = [
        SeriesKey(f"{side}-{one}", quantity)
        for one in range(size.enclosures)
        for side, quantity in (
            ("warm", Quantity.TEMPERATURE),
            ("cool", Quantity.TEMPERATURE),
            ("hide", Quantity.TEMPERATURE),
            ("cool", Quantity.HUMIDITY),
        )
    ]
    count, took_s = 0, 0.0
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        for n, key in enumerate(keys):
            columns = wandering(size.days, seed=n % 50, start_ms=DAY_0_MS, every_ms=EVERY_MS)
            began_s = time.process_time()
            archive.write({key: columns})
            took_s += time.process_time() - began_s
            count += len(columns)
    kept = (folder / "archive.db").stat().st_size
    key = keys[len(keys) // 2]
    start_ms = DAY_0_MS + size.days // 2 * DAY_MS
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        window_s = shortest_s(lambda: track(reader, key, start_ms, start_ms + DAY_MS), 50)
    newest_s = shortest_s(lambda: _newest(folder), 2) / len(keys)
    return Cost(took_s / count * 1e6, kept / count, window_s * 1000, newest_s * 1000)


def _newest(folder: Path) -> None:
    """What a watch asks when it begins: nothing is remembered yet."""
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        reader.latest()


if __name__ == "__main__":
    main()
