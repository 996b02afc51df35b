"""Measures reading a window: `python -m tests.benchmarks.window [FOLDER] [--readings N]`.

Seven days of one probe (60,480 readings) out of 50 million of sixteen probes, as the arrays of a
review, from files that the kernel holds. Beside it the bare decoding of the same blocks with numpy,
which cannot be beaten; rows from one keyed table of as many readings; and InfluxDB's raw answer,
where it is built, out of eight days of four probes. One JSON line a figure.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from analysis.frames import decoded, track
from collector.readings import Quantity, SeriesKey
from collector.store.columns import DAY_MS, Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.influx_reading import InfluxReading
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from tests.benchmarks.figures import Line, figure, say, shortest_s
from tests.benchmarks.kept import a_server
from tests.benchmarks.peers import KeyedTable
from tests.benchmarks.series import wandering
from tests.collector.store.series import DAY_0_MS
from tests.influx import PROGRAM, database

PROBES = [SeriesKey(f"urn:dev:ow:28ff641f43b2c1{n:02x}", Quantity.TEMPERATURE) for n in range(16)]
EVERY_MS = 10_000
A_DAY = DAY_MS // EVERY_MS
WEEK = 7 * DAY_MS
GOAL_MS = 2.0


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.window")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--readings", type=int, default=50_000_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        for line in measured(Path(folder), given.readings):
            say(line)


def measured(folder: Path, count: int) -> Iterator[Line]:
    """The window as arrays, and without numpy as the light processes read it."""
    days = max(9, count // len(PROBES) // A_DAY)
    start_ms = DAY_0_MS + (days // 2) * DAY_MS + DAY_MS // 24
    window = (PROBES[3], start_ms, start_ms + WEEK)
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        for n, key in enumerate(PROBES):
            archive.write({key: _series(days, n)})
        packed = [one.packed for one in archive.stored(*window)]
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        readings = sum(span.count for span in reader.series().values())
        found = len(track(reader, *window).at_ms)
        ours_s = shortest_s(lambda: track(reader, *window), 30)
    bare_s = shortest_s(lambda: [decoded(one) for one in packed], 30)
    beside = {"bare decoding with numpy": bare_s, "one keyed table": _keyed(folder, days, window)}
    if PROGRAM.exists():
        beside["InfluxDB, of 8 days and 4 probes"] = _influx(folder)
    yield figure(
        "7 days of one probe, as arrays", ours_s * 1000, "ms", goal=f"≤ {GOAL_MS:g}",
        beside={name: seconds * 1000 for name, seconds in beside.items()},
        readings=readings, in_the_window=found,
    )  # fmt: skip

    def plainly() -> Columns:
        with closing(SqliteArchive(folder / "archive.db", read_only=True)) as archive:
            return archive.columns(*window)

    yield figure(
        "7 days of one probe, without numpy, file opened anew", shortest_s(plainly, 10) * 1000,
        "ms", beside={"bare decoding with numpy": bare_s * 1000},
    )  # fmt: skip


def _series(days: int, n: int) -> Columns:
    return wandering(days, seed=n, start_ms=DAY_0_MS, every_ms=EVERY_MS)


def _keyed(folder: Path, days: int, window: tuple[SeriesKey, int, int]) -> float:
    """Seconds to have the same rows from one keyed table of as many readings."""
    key, start_ms, end_ms = window
    with closing(KeyedTable(folder / "table.db")) as table:
        for n, probe in enumerate(PROBES):
            one = _series(days, n)
            rows = zip([probe.probe] * len(one), one.at_ms, one.raw, strict=True)
            table.put_many(rows)
        return shortest_s(lambda: table.window(key.probe, start_ms, end_ms), 5)


def _influx(folder: Path) -> float:
    """Seconds to have seven days of one probe from a server."""
    batch = {key: _series(8, n) for n, key in enumerate(PROBES[:4])}
    with a_server(folder) as server, database(server) as settings:
        patient = settings.model_copy(update={"timeout_seconds": 60.0})
        with closing(InfluxArchive(patient)) as archive:
            archive.write(batch)
            reading = InfluxReading(archive, patient=False)
            start_ms = DAY_0_MS + DAY_MS // 24
            with Reader(folder / "no-journal.db", reading) as reader:
                return shortest_s(lambda: track(reader, PROBES[0], start_ms, start_ms + WEEK), 5)


if __name__ == "__main__":
    main()
