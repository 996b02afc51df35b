"""Measures the import and export of readings: `python -m tests.benchmarks.exchange [FOLDER]`.

One JSON line a figure. The file is a million readings of sixteen probes, a reading every 10 s, in
the order in which a logger writes them: time by time, probe by probe.
"""

from __future__ import annotations

import csv
import io
import json
import random
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from collector.book.book import Book
from collector.exchange import export_rows, import_file
from collector.rfc3339 import written
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.settings import Settings

ROWS = 1_000_000
PROBES = 16
START_MS = 1_704_067_200_000
"""2024-01-01T00:00:00Z."""


def main() -> None:
    """Print every figure."""
    base = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=base) as folder:
        for figure in both_ways(Path(folder)):
            sys.stdout.write(json.dumps(figure) + "\n")


def both_ways(folder: Path) -> Iterator[dict[str, object]]:
    """Rows a second in, in again, and out, and the most memory held."""
    file = folder / "readings.csv"
    write_readings(file, ROWS)
    settings = Settings(time_zone="Europe/Lisbon")
    with (
        Book(folder / "book.db") as book,
        closing(SqliteArchive(folder / "archive.db")) as archive,
    ):
        for what in ("import", "import again"):
            before = time.perf_counter()
            import_file("readings", file, book=book, archive=archive, settings=settings)
            yield _speed(what, before)
        yield {"figure": "MB held at most", "value": round(_most_mb(), 1)}
        with Reader(folder / "journal.db", folder / "archive.db") as reader:
            before = time.perf_counter()
            export_rows("readings", io.StringIO(), book=book, reader=reader, settings=settings)
            yield _speed("export", before)


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


def _speed(what: str, before: float) -> dict[str, object]:
    seconds = time.perf_counter() - before
    return {
        "figure": "rows a second",
        "of": what,
        "value": round(ROWS / seconds),
        "seconds": round(seconds, 2),
    }


def _most_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
