"""The store against SIGKILL at any moment, and against a disk that is full."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.readings import Quantity, Reading
from collector.store.check import check
from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import KEPT_ROWS, seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault
from tests.faults.record import Promise, told

SOURCES = Path(__file__).parents[2]
EVER = (0, 2**62)

# Numbered commits of one to forty numbered readings, of five series, with a sealing now and then.
# What it says, it has committed.
WRITER = """
import os, random, sys
from pathlib import Path
from collector.readings import Quantity, Reading
from collector.store.journal import Journal, Receipt
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive

folder, number = Path(sys.argv[1]), int(sys.argv[2])
rng = random.Random(number)
journal = Journal(folder / "journal.db", sync_seconds=0.05)
while True:
    first = number
    number += rng.randint(1, 40)
    some = [
        Reading(f"probe {n % 5}", Quantity.TEMPERATURE, 20_000_000 * n, 20 + n % 160 / 16)
        for n in range(first, number)
    ]
    journal.commit(some, [Receipt("mqtt", first % 65_536, b"digest")])
    os.write(1, b"%d\\n" % number)
    if rng.random() < 0.1:
        archive = SqliteArchive(folder / "archive.db")
        seal(journal, archive)
        archive.close()
"""


def killed_after(seconds: float, folder: Path, first: int) -> int:
    """Let the writer go on from `first` and kill it: the number it said last."""
    command = [sys.executable, "-c", WRITER, str(folder), str(first)]
    with subprocess.Popen(command, cwd=SOURCES, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        said = process.stdout.readline()
        time.sleep(seconds)
        process.kill()
        said += process.stdout.read()
    return int(said.split()[-1])


def numbers(folder: Path) -> list[int]:
    """The numbers of all readings that a reader sees."""
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        series = {key: reader.columns(key, *EVER) for key in reader.series()}
        assert {key: span.count for key, span in reader.series().items()} == {
            key: len(columns) for key, columns in series.items()
        }
    return sorted(at_ms // 20_000_000 for one in series.values() for at_ms in one.at_ms)


def kill_again_and_again(folder: Path, kills: int, seed: int) -> int:
    """How many readings there are in the end."""
    folder.mkdir()
    rng = random.Random(seed)
    there = 0
    for _ in range(kills):
        said = killed_after(rng.uniform(0.0, 0.25), folder, there)
        seen = numbers(folder)
        assert seen == list(range(len(seen)))  # none missing, none twice
        assert said <= len(seen) <= said + 40  # what was committed; and a commit not reported yet
        assert check(folder / "journal.db", folder / "archive.db") == []
        began = time.monotonic()
        with (
            closing(Journal(folder / "journal.db")) as journal,
            closing(SqliteArchive(folder / "archive.db")) as archive,
        ):
            assert time.monotonic() - began < 2
            assert len(journal.receipts()) >= KEPT_ROWS or len(seen) < 40 * KEPT_ROWS
            seal(journal, archive)
            seal(journal, archive)
        assert numbers(folder) == seen
        there = len(seen)
    return there


@pytest.mark.timeout(1200)
def test_a_killed_writer_loses_and_doubles_nothing(
    tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    kills, seeds = times(6, 30), times(1, 5)
    readings = sum(kill_again_and_again(tmp_path / f"{n}", kills, seed=n) for n in range(seeds))
    fault, of = "SIGKILL of a writer that commits and seals without a pause", f"{readings:,}"
    told(Promise.KEPT, fault, tried=kills * seeds, of=f"readings of {of}")
    told(Promise.OPENS, fault, tried=kills * seeds, of="files", note="each within 2 s")


# A disk that is full ----------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB."""
    if os.geteuid() != 0:
        pytest.skip("only root can make a small file system")
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("no file system can be mounted here")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def commits(journal: Journal, first: int, most: int) -> int:
    """Commit numbered readings until it fails or `most` are reached; how far it came."""
    for n in range(first, most):
        some = [Reading(f"p{k}", Quantity.TEMPERATURE, n, n / 7 + k) for k in range(16)]
        try:
            journal.commit(some)
        except StoreFault as fault:
            if str(fault).endswith("journal.db: the disk is full; make room"):
                return n
            raise
    return most


def fill(ballast: Path) -> None:
    """Take all the room there is."""
    with ballast.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(512))


def seen_on(disk: Path) -> list[int]:
    with Reader(disk / "journal.db", disk / "archive.db") as reader:
        series = [reader.columns(key, *EVER) for key in reader.series()]
    assert all(one.at_ms == series[0].at_ms for one in series)
    return list(series[0].at_ms)


def test_a_full_disk_refuses_commits_whole_and_goes_on_when_there_is_room(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(600_000))
    with closing(Journal(small_disk / "journal.db")) as journal:
        count = commits(journal, 0, 10_000)
        assert 0 < count < 10_000
        assert seen_on(small_disk) == list(range(count))
        assert commits(journal, count, count + 1) == count  # still full, still in one line
        ballast.unlink()
        assert commits(journal, count, count + 50) == count + 50
        assert seen_on(small_disk) == list(range(count + 50))
    assert check(small_disk / "journal.db", small_disk / "archive.db") == []


def test_sealing_onto_a_full_disk_keeps_the_journal(small_disk: Path) -> None:
    with (
        closing(Journal(small_disk / "journal.db")) as journal,
        closing(SqliteArchive(small_disk / "archive.db")) as archive,
    ):
        assert commits(journal, 0, 300) == 300
        ballast = small_disk / "ballast"
        with pytest.raises(OSError, match="No space"):
            fill(ballast)
        with pytest.raises(StoreFault, match=r"archive\.db: the disk is full; make room"):
            seal(journal, archive)
        assert seen_on(small_disk) == list(range(300))
        ballast.unlink()
        assert seal(journal, archive) == 16 * (300 - KEPT_ROWS)
        assert seen_on(small_disk) == list(range(300))


def test_an_import_that_fills_the_disk_leaves_nothing_of_itself(small_disk: Path) -> None:
    noise = random.Random(1)
    big = Columns.ordered(range(200_000), [noise.random() for _ in range(200_000)])
    key = Reading("p", Quantity.TEMPERATURE, 0, 0.0).key
    with closing(SqliteArchive(small_disk / "archive.db")) as archive:
        with pytest.raises(StoreFault, match="the disk is full; make room"):
            archive.write({key: big})
        assert archive.series() == {}
        assert archive.write({key: big.slice(0, 100)}).new == 100
