"""The archive on InfluxDB beside our own: `python -m tests.benchmarks.archives [FOLDER]`.

Both get the same readings in one run on one machine; one JSON line a figure. `limit`, where there
is one, is what a release must keep; the exit code is 1 when a figure is past it. Without the
server (`make influxd`) it says so and measures nothing.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from analysis.frames import track
from collector.readings import Quantity, SeriesKey
from collector.store.archive import Archive
from collector.store.columns import DAY_MS, Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.influx_reading import InfluxReading
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from tests.benchmarks.figures import shortest_s
from tests.collector.store.series import DAY_0_MS, believable
from tests.influx import HOW, PROGRAM, Influxd, database

PROBES = [SeriesKey(f"urn:dev:ow:28ff641f43b2c1{n:02x}", Quantity.TEMPERATURE) for n in range(4)]
_DAYS = 8
_WEEK = (DAY_0_MS + 3_600_000, DAY_0_MS + 3_600_000 + 7 * DAY_MS)
_SETTLES_S = 90.0

Figure = dict[str, object]


def main() -> int:
    """Print every figure; 1 when one is past its limit."""
    if not PROGRAM.exists():
        sys.stderr.write(f"influxd is not built, nothing measured: {HOW}\n")
        return 0
    past = 0
    base = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=base) as folder:
        for figure in measured(Path(folder)):
            limit = figure.get("limit")
            past += isinstance(limit, float) and float(str(figure["value"])) > limit
            sys.stdout.write(json.dumps(figure) + "\n")
            sys.stdout.flush()
    return 1 if past else 0


def measured(folder: Path) -> Iterator[Figure]:
    """Written, kept and read, with 100 ms of jitter on the times: the worse case for both."""
    batch = {k: believable(_DAYS * 8640, jitter_ms=100, seed=n) for n, k in enumerate(PROBES)}
    count = sum(map(len, batch.values()))
    quickly = {
        "DATA_CACHE_SNAPSHOT_WRITE_COLD_DURATION": "1s",
        "DATA_COMPACT_FULL_WRITE_COLD_DURATION": "2s",
    }
    (folder / "influxd").mkdir()
    server = Influxd(folder / "influxd", more=quickly)
    server.start()
    try:
        with database(server) as settings:
            ours = SqliteArchive(folder / "archive.db")
            theirs = InfluxArchive(settings.model_copy(update={"timeout_seconds": 60.0}))
            with closing(ours), closing(theirs):
                for name, archive in (("ours", ours), ("InfluxDB", theirs)):
                    yield _figure(
                        "seconds to write 276,480 readings", name, _written(archive, batch)
                    )
                ours.close()  # the last to let go moves everything into the file
                yield from _kept(folder, server, count)
                yield from _read(folder, theirs)
    finally:
        server.stop()


def _written(archive: Archive, batch: dict[SeriesKey, Columns]) -> float:
    return shortest_s(lambda: archive.write(batch), 1)


def _kept(folder: Path, server: Influxd, count: int) -> Iterator[Figure]:
    ours = sum(file.stat().st_size for file in folder.glob("archive.db*"))
    yield _figure("bytes kept per reading", "ours", ours / count, 2.5)
    yield _figure("bytes kept per reading", "InfluxDB", _settled(server) / count, 12.0)


def _settled(server: Influxd) -> int:
    """The bytes of its files once it has packed them and they no longer change."""
    until_s = time.monotonic() + _SETTLES_S
    size, since_s = 0, time.monotonic()
    while time.monotonic() < until_s:
        now = server.bytes_kept()
        if now != size:
            size, since_s = now, time.monotonic()
        elif size and time.monotonic() - since_s > 12:
            break
        time.sleep(1)
    return size


def _read(folder: Path, theirs: InfluxArchive) -> Iterator[Figure]:
    """Seven days of one probe, 60,480 readings: as columns, and as the arrays of a review."""
    window = (PROBES[0], *_WEEK)

    def ours() -> Columns:
        with closing(SqliteArchive(folder / "archive.db", read_only=True)) as archive:
            return archive.columns(*window)

    assert ours() == theirs.columns(*window)
    ways: list[tuple[str, Callable[[], object], float]] = [
        ("ours, columns", ours, 100.0),
        ("InfluxDB, columns", lambda: theirs.columns(*window), 2_000.0),
    ]
    for name, work, limit in ways:
        yield _figure("milliseconds to read a week", name, 1000 * shortest_s(work, 5), limit)

    def arrays() -> object:
        reading = InfluxReading(theirs, patient=False)
        return track(Reader(folder / "journal.db", reading), *window)

    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        own_s = shortest_s(lambda: track(reader, *window), 5)
    yield _figure("milliseconds to read a week", "ours, arrays", 1000 * own_s, 20.0)
    theirs_s = shortest_s(arrays, 5)
    yield _figure("milliseconds to read a week", "InfluxDB, arrays", 1000 * theirs_s, 2_000.0)


def _figure(name: str, way: str, value: float, limit: float | None = None) -> Figure:
    figure: Figure = {"figure": name, "way": way, "value": round(value, 2)}
    return figure if limit is None else {**figure, "limit": limit}


if __name__ == "__main__":
    sys.exit(main())
