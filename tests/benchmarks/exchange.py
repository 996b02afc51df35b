"""Measures the import and export of readings: `python -m tests.benchmarks.exchange [FOLDER]`.

One JSON line a figure. The file is a million readings of sixteen probes, a reading every 10 s, in
the order in which a logger writes them: time by time, probe by probe.
"""

from __future__ import annotations

import csv
import io
import random
import resource
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

from collector.book.book import Book
from collector.exchange import export_rows, import_file
from collector.rfc3339 import written
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.settings import Settings
from tests.benchmarks.figures import Line, figure, run, say

ROWS = 1_000_000
PROBES = 16
START_MS = 1_704_067_200_000
"""2024-01-01T00:00:00Z."""


def main() -> None:
    """Print every figure."""
    base = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=base) as folder:
        for line in both_ways(Path(folder)):
            say(line)


def both_ways(folder: Path) -> Iterator[Line]:
    """Rows a second in, in again, and out, and the most memory held."""
    file = folder / "readings.csv"
    write_readings(file, ROWS)
    settings = Settings(time_zone="Europe/Lisbon")
    with_pandas = {"pandas.read_csv alone": _with_pandas(file)}
    with (
        Book(folder / "book.db") as book,
        closing(SqliteArchive(folder / "archive.db")) as archive,
    ):
        for what in ("import", "import again"):
            before = time.perf_counter()
            import_file("readings", file, book=book, archive=archive, settings=settings)
            yield _speed(what, before, goal="≥ 300,000", beside=with_pandas)
        yield figure("most memory while importing", _most_mb(), "MB")
        with Reader(folder / "journal.db", folder / "archive.db") as reader:
            before = time.perf_counter()
            export_rows("readings", io.StringIO(), book=book, reader=reader, settings=settings)
            yield _speed("export", before)


def _with_pandas(file: Path) -> float:
    """Rows a second of pandas.read_csv alone, in a process of its own: nothing is kept."""
    code = (
        "import sys, time, pandas\n"
        "began = time.perf_counter()\n"
        "pandas.read_csv(sys.argv[1])\n"
        "print(time.perf_counter() - began)"
    )
    return ROWS / float(run([sys.executable, "-c", code, str(file)]).output)


def write_readings(file: Path, count: int) -> None:
    """A file of `count` readings: sixteenths of a degree that wander, every 10 s."""
    random_ = random.Random(1)
    levels = [480 + n for n in range(PROBES)]
    with file.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(("time", "probe", "quantity", "value", "unit"))
        for row in range(count):
            step, probe = divmod(row, PROBES)
            levels[probe] += random_.choice((-1, 0, 0, 0, 0, 1))
            at = written(START_MS + step * 10_000)
            name = f"urn:dev:ow:28ff641f43b2c1{probe:02x}"
            writer.writerow((at, name, "temperature", levels[probe] / 16, "Cel"))


def _speed(
    what: str, before: float, *, goal: str | None = None, beside: Mapping[str, float] | None = None
) -> Line:
    seconds = time.perf_counter() - before
    return figure(f"rows of readings: {what}", ROWS / seconds, "rows/s", goal=goal, beside=beside)


def _most_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
