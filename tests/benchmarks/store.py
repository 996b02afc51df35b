"""Measures the store: `python -m tests.benchmarks.store [FOLDER]`, one JSON line a figure.

FOLDER should be on a real disk: what is written to it is counted by the kernel
(`/proc/self/io`), with the syncs that the collector makes.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from analysis.frames import track
from collector.readings import Quantity, Reading, SeriesKey
from collector.sealer import Sealer
from collector.store.codec import pack
from collector.store.columns import DAY_MS, Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from tests.benchmarks.figures import shortest_s, written_bytes
from tests.collector.store.series import DAY_0_MS, believable

PROBES = [SeriesKey(f"urn:dev:ow:28ff641f43b2c1{n:02x}", Quantity.TEMPERATURE) for n in range(16)]


def main() -> None:
    """Print every figure."""
    base = sys.argv[1] if len(sys.argv) > 1 else None
    for measure in (packed_sizes, card_wear, import_speed, window_speed):
        with tempfile.TemporaryDirectory(dir=base) as folder:
            for figure in measure(Path(folder)):
                sys.stdout.write(json.dumps(figure) + "\n")


def packed_sizes(_: Path) -> Iterator[dict[str, object]]:
    """Bytes of a packed day, per reading."""
    for grid in (16, 100):
        for jitter_ms in (0, 100):
            day = believable(8640, grid=grid, jitter_ms=jitter_ms)
            yield {
                "figure": "bytes packed per reading",
                "steps_per_degree": grid,
                "jitter_ms": jitter_ms,
                "value": round(len(pack(day)) / len(day), 3),
            }


def card_wear(folder: Path) -> Iterator[dict[str, object]]:
    """A day of sixteen probes: committed every 10 s, synced every 30 s, sealed every hour."""
    now_s = 0.0
    days = [believable(8640, seed=n) for n in range(len(PROBES))]
    journal = Journal(folder / "journal.db", sync_seconds=30, monotonic=lambda: now_s)
    sealer = Sealer(journal, folder / "archive.db", 3600.0, monotonic=lambda: now_s)
    before, sealing = written_bytes(), 0
    with closing(journal), closing(sealer):
        for n in range(8640):
            now_s = 10.0 * n
            rows = zip(PROBES, days, strict=True)
            journal.commit(
                [Reading(k.probe, k.quantity, day.at_ms[n], day.raw[n]) for k, day in rows]
            )
            if sealer.due():
                mark = written_bytes()
                sealer.seal()
                sealing += written_bytes() - mark
        whole = written_bytes() - before
    count = 8640 * len(PROBES)
    for part, written in (("journal", whole - sealing), ("sealing", sealing), ("both", whole)):
        yield {
            "figure": "bytes written per reading",
            "part": part,
            "value": round(written / count, 1),
        }


def import_speed(folder: Path) -> Iterator[dict[str, object]]:
    """A million readings written at once."""
    batch = {key: believable(62_500, seed=n) for n, key in enumerate(PROBES)}
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        seconds = shortest_s(lambda: archive.write(batch), 1)
    yield {"figure": "seconds to write a million readings", "value": round(seconds, 2)}


def window_speed(folder: Path) -> Iterator[dict[str, object]]:
    """Seven days of readings every 10 s, out of fourteen."""
    key, start_ms = PROBES[0], DAY_0_MS + 3 * DAY_MS + 3_600_000
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        archive.write({key: believable(14 * 8640, jitter_ms=100)})
    window = (key, start_ms, start_ms + 7 * DAY_MS)

    def plain() -> Columns:
        with closing(SqliteArchive(folder / "archive.db", read_only=True)) as archive:
            return archive.columns(*window)

    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        plain_s, numpy_s = shortest_s(plain), shortest_s(lambda: track(reader, *window))
    for way, seconds in (("plain Python", plain_s), ("numpy", numpy_s)):
        yield {
            "figure": "milliseconds to read a week",
            "way": way,
            "value": round(seconds * 1000, 2),
        }


if __name__ == "__main__":
    main()
