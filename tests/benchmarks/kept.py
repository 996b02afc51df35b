"""Measures what readings take on the disk: `python -m tests.benchmarks.kept [FOLDER]`.

Eight days of four probes every 10 s: a thermostat's swing and the sensor's noise, on the grid of a
DS18B20 (1/16 °C) and on one of 0.01 °C, at an even cadence and with 100 ms of jitter on the times.
Beside it the entropy of the series itself, Parquet written with care and as pandas writes it, one
keyed table, and a real InfluxDB where it is built (`make influxd`). One JSON line a figure.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path

from collector.readings import Quantity, SeriesKey
from collector.store.columns import Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.sqlite_archive import SqliteArchive
from tests.benchmarks.figures import Line, figure, say
from tests.benchmarks.peers import KeyedTable, entropy_bytes, parquet_bytes
from tests.collector.store.series import believable
from tests.influx import HOW, PROGRAM, Influxd, database

PROBES = [SeriesKey(f"urn:dev:ow:28ff641f43b2c1{n:02x}", Quantity.TEMPERATURE) for n in range(4)]
_DAYS = 8
_SETTLES_S = 90.0
_GOALS = {0: 0.7, 100: 1.5}
"""Bytes a reading, by the jitter in ms."""
_QUICKLY = {
    "DATA_CACHE_SNAPSHOT_WRITE_COLD_DURATION": "1s",
    "DATA_COMPACT_FULL_WRITE_COLD_DURATION": "2s",
}


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.kept")
    parser.add_argument("folder", nargs="?")
    given = parser.parse_args()
    if not PROGRAM.exists():
        sys.stderr.write(f"influxd is not built, nothing said of it: {HOW}\n")
    for grid in (16, 100):
        for jitter_ms, goal in _GOALS.items():
            with tempfile.TemporaryDirectory(dir=given.folder) as folder:
                say(kept(Path(folder), grid, jitter_ms, goal))


def kept(folder: Path, grid: int, jitter_ms: int, goal: float) -> Line:
    """The bytes a reading takes in the archive's file, whole, and elsewhere."""
    batch = {
        key: believable(_DAYS * 8640, grid=grid, jitter_ms=jitter_ms, seed=n)
        for n, key in enumerate(PROBES)
    }
    count = sum(map(len, batch.values()))
    beside: dict[str, float] = {
        "entropy of its steps": sum(map(entropy_bytes, batch.values())) / len(batch)
    }
    with_care, by_pandas = parquet_bytes(batch, folder / "readings.parquet")
    beside["Parquet, delta and dictionary, zstd"] = with_care / count
    beside["Parquet as pandas writes it"] = by_pandas / count
    beside["one keyed table"] = _keyed(batch, folder / "table.db") / count
    if PROGRAM.exists():
        beside["InfluxDB"] = _influx(batch, folder) / count
    return figure(
        "bytes kept for a reading", _ours(batch, folder / "archive.db") / count, "bytes",
        goal=f"≤ {goal:g}", beside=beside, grid=f"1/{grid} °C", jitter_ms=jitter_ms,
    )  # fmt: skip


def _ours(batch: Mapping[SeriesKey, Columns], path: Path) -> int:
    with closing(SqliteArchive(path)) as archive:
        archive.write(batch)
    # The last to let go has moved everything into the file.
    return sum(file.stat().st_size for file in path.parent.glob(f"{path.name}*"))


def _keyed(batch: Mapping[SeriesKey, Columns], path: Path) -> int:
    with closing(KeyedTable(path)) as table:
        for key, one in batch.items():
            rows = zip([key.probe] * len(one), one.at_ms, one.raw, strict=True)
            table.put(list(rows), synced=False)
    return path.stat().st_size


def _influx(batch: Mapping[SeriesKey, Columns], folder: Path) -> int:
    """What its files take once it has packed them and they no longer change."""
    with a_server(folder) as server, database(server) as settings:
        patient = settings.model_copy(update={"timeout_seconds": 60.0})
        with closing(InfluxArchive(patient)) as archive:
            archive.write(batch)
        until_s, size, since_s = time.monotonic() + _SETTLES_S, 0, time.monotonic()
        while time.monotonic() < until_s:
            now = server.bytes_kept()
            if now != size:
                size, since_s = now, time.monotonic()
            elif size and time.monotonic() - since_s > 12:
                break
            time.sleep(1)
        return size


@contextmanager
def a_server(folder: Path) -> Iterator[Influxd]:
    """A server of its own, that packs its files soon."""
    (folder / "influxd").mkdir()
    server = Influxd(folder / "influxd", more=_QUICKLY)
    server.start()
    try:
        yield server
    finally:
        server.stop()


if __name__ == "__main__":
    main()
