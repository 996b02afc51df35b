"""SIGKILL at any moment while old days become hours, beside a collector that goes on writing."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from collector.readings import Quantity, SeriesKey
from collector.store.check import check
from collector.store.columns import Columns
from collector.store.hours import count_of, hours_of
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from collector.store.thinning import raw_days, thin
from tests.faults.record import Promise, told

SOURCES = Path(__file__).parents[2]
EVER = (0, 2**62)
EVERY_MS = 700_000
GAP_MS = 4_000_000.0
PROBES = 5

# Numbered readings of five series, a commit at a time, sealed now and then. What it says, it has
# committed. A sealing that has to wait for five seconds ends it.
WRITER = """
import os, random, sys
from pathlib import Path
from collector.readings import Quantity, Reading
from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive

folder, number = Path(sys.argv[1]), 0
rng = random.Random(1)
journal, archive = Journal(folder / "journal.db"), SqliteArchive(folder / "archive.db")
while True:
    first = number
    number += rng.randint(1, 60)
    journal.commit([
        Reading(f"probe {n % 5}", Quantity.TEMPERATURE, 700_000 * n, 20 + n % 160 / 16)
        for n in range(first, number)
    ], [])
    os.write(1, b"%d\\n" % number)
    if rng.random() < 0.2 and seal(journal, archive) == 0 and number > 5000:
        sys.exit("sealing had to wait")
"""

# All but the newest day of each series, again and again; says how many days it has thinned.
THINNER = """
import os, sys
from pathlib import Path
from collector.store import thinning

thinning._DAYS_AT_ONCE = 3
archive = Path(sys.argv[1]) / "archive.db"
while True:
    days = thinning.raw_days(archive)
    newest = {one.series: one.day for one in days}
    done = thinning.thin(archive, [d for d in days if d.day < newest[d.series]], float(sys.argv[2]))
    os.write(1, b"%d\\n" % done.days)
"""


@contextmanager
def running(code: str, *words: str) -> Iterator[subprocess.Popen[bytes]]:
    command = [sys.executable, "-c", code, *words]
    with subprocess.Popen(command, cwd=SOURCES, stdout=subprocess.PIPE) as process:
        try:
            yield process
        finally:
            process.kill()


def said_last(writer: subprocess.Popen[bytes]) -> int:
    """The newest number it has said; waits for one."""
    assert writer.stdout is not None
    *lines, _ = os.read(writer.stdout.fileno(), 1 << 20).split(b"\n")
    return int(lines[-1]) if lines else said_last(writer)


def values(probe: int, until: int) -> Columns:
    """What the writer has committed of a probe, before number `until`."""
    numbers = range(probe, until, PROBES)
    return Columns.ordered([EVERY_MS * n for n in numbers], [20 + n % 160 / 16 for n in numbers])


def missing(folder: Path, said: int) -> int:
    """How many of the committed readings are neither raw nor in an hour, or in both.

    The hours are those of the readings themselves, reckoned here.
    """
    lost = 0
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        for probe in range(PROBES):
            key = SeriesKey(f"probe {probe}", Quantity.TEMPERATURE)
            raw, hours = reader.columns(key, *EVER), reader.hours(key, *EVER)
            first_ms = raw.at_ms[0]
            every = values(probe, max(said, raw.at_ms[-1] // EVERY_MS + 1))
            assert raw == every.cut(first_ms, EVER[1])
            days = (day for _, day in every.cut(0, first_ms).days())
            assert hours == [hour for day in days for hour in hours_of(day, GAP_MS)]
            lost += abs(len(every) - len(raw) - count_of(hours))
    return lost


@pytest.mark.timeout(400)
def test_killed_while_thinning_beside_a_collector(
    tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    rng, kills = random.Random(1), times(4, 60)
    archive, lost = tmp_path / "archive.db", 0
    with running(WRITER, str(tmp_path)) as writer:
        said = 0
        for _ in range(kills):
            while said < 3000 or not archive.exists():
                said = said_last(writer)
            with running(THINNER, str(tmp_path), str(GAP_MS)) as thinner:
                assert thinner.stdout is not None
                thinner.stdout.readline()
                time.sleep(rng.uniform(0.0, 0.2))
                thinner.kill()
            assert writer.poll() is None, "sealing went on"
            said = said_last(writer)
    with Reader(tmp_path / "journal.db", archive) as reader:
        assert all(span.thinned for span in reader.series().values())
    lost += missing(tmp_path, said)
    assert check(tmp_path / "journal.db", archive) == []
    # The writer may have died between archive and journal: then a part is in both.
    with closing(Journal(tmp_path / "journal.db")) as journal, closing(SqliteArchive(archive)) as a:
        seal(journal, a)
    days = raw_days(archive)
    newest = {one.series: one.day for one in days}
    thin(archive, [one for one in days if one.day < newest[one.series]], GAP_MS)
    lost += missing(tmp_path, said)
    assert all(one.day == newest[one.series] for one in raw_days(archive))
    told(
        Promise.KEPT, "SIGKILL while thinning", tried=kills, lost=lost,
        of=f"readings of {said:,}", note="beside a running writer, whose sealing never waited",
    )  # fmt: skip
    assert lost == 0
