"""The journal: what is committed is there, receipts with it, synced as often as promised."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from collector.readings import Correction, Flag, Reading
from collector.store.columns import Columns
from collector.store.journal import Journal, Receipt
from collector.store.reader import Reader
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault
from tests.collector.store.series import COOL, DAMP, DAY_0_MS, WARM

EVER = (0, 2**62)


def at(seconds: int, raw: float = 31.0, **more: object) -> Reading:
    return Reading(WARM.probe, WARM.quantity, DAY_0_MS + 1000 * seconds, raw, **more)  # type: ignore[arg-type]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "readings" / "journal.db"


def test_a_commit_is_there_for_a_reader_at_once_and_after_reopening(path: Path) -> None:
    one = at(0, 31.4, correction=Correction(1.01, -0.3), flags=Flag.JUMP)
    two = Reading(DAMP.probe, DAMP.quantity, DAY_0_MS, 71.5)
    with closing(Journal(path)) as journal, Reader(path, path.with_name("archive.db")) as reader:
        journal.commit([one, two])
        assert list(reader.columns(WARM, *EVER).readings(WARM)) == [one]
        assert list(reader.columns(DAMP, *EVER).readings(DAMP)) == [two]
    with closing(Journal(path)) as journal, Reader(path, path.with_name("archive.db")) as reader:
        journal.commit([at(1)])
        assert list(reader.columns(WARM, *EVER).readings(WARM)) == [one, at(1)]


def test_a_new_calibration_takes_nothing_from_readings_before_it(path: Path) -> None:
    some = [at(n, correction=Correction(1.0, n // 2)) for n in range(6)]
    with closing(Journal(path)) as journal, Reader(path, path.with_name("archive.db")) as reader:
        for one in some:
            journal.commit([one])
        assert list(reader.columns(WARM, *EVER).readings(WARM)) == some


def test_receipts_are_kept_with_their_commit_until_it_is_sealed(path: Path) -> None:
    receipts = [Receipt("mqtt", mid, bytes([mid])) for mid in range(40)]
    with closing(Journal(path)) as journal:
        for n, receipt in enumerate(receipts):
            journal.commit([at(n)], [receipt])
    with closing(Journal(path)) as journal:
        assert journal.receipts() == set(receipts)
        with closing(SqliteArchive(path.with_name("archive.db"))) as archive:
            assert seal(journal, archive) == 40 - 16
        assert journal.receipts() == set(receipts[-16:])  # the newest commits stay: KEPT_ROWS


def test_a_receipt_without_a_reading_is_kept(path: Path) -> None:
    # A message of which every record was dropped must be known again too.
    with closing(Journal(path)) as journal:
        journal.commit([], [Receipt("mqtt", 1, b"x")])
        assert journal.receipts() == {Receipt("mqtt", 1, b"x")}


def test_a_commit_that_is_refused_leaves_nothing_and_spoils_nothing(path: Path) -> None:
    stranger = Reading("new", COOL.quantity, DAY_0_MS, math.nan)
    with closing(Journal(path)) as journal, Reader(path, path.with_name("archive.db")) as reader:
        with pytest.raises(ValueError, match="finite"):
            journal.commit([at(0), stranger])
        assert reader.series() == {}
        # The series numbered in vain must be numbered again.
        journal.commit([Reading("new", COOL.quantity, DAY_0_MS, 25.0)])
        assert [key.probe for key in reader.series()] == ["new"]


def test_there_is_one_writer(path: Path) -> None:
    with (
        closing(Journal(path)),
        pytest.raises(StoreFault, match=r"process \d+\) writes here; stop"),
    ):
        Journal(path)
    Journal(path).close()


def test_closing_twice_does_nothing(path: Path) -> None:
    journal = Journal(path)
    journal.commit([at(0)])
    journal.close()
    journal.close()


def test_commits_and_sealing_in_two_threads(path: Path) -> None:
    archive_path = path.with_name("archive.db")
    with closing(Journal(path)) as journal, closing(SqliteArchive(archive_path)) as archive:
        done = threading.Event()

        def keep_sealing() -> None:
            while not done.is_set():
                seal(journal, archive)

        sealer = threading.Thread(target=keep_sealing)
        sealer.start()
        try:
            for n in range(300):
                journal.commit([at(n)])
        finally:
            done.set()
            sealer.join()
        with Reader(path, archive_path) as reader:
            assert list(reader.columns(WARM, *EVER).readings(WARM)) == [at(n) for n in range(300)]


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(StoreFault, match=r"journal\.db: No such file or directory$"):
        Journal(tmp_path / "no" / "such" / "journal.db")


# What reaches the disk, as the kernel sees it ---------------------------------------------------

WRITER = """
import os, sys
from pathlib import Path
from collector.readings import Quantity, Reading
from collector.store.journal import Journal

now = 0.0
journal = Journal(Path(sys.argv[1]), sync_seconds=30, monotonic=lambda: now)

def commit(seconds, *readings):
    global now
    now = seconds
    os.write(1, b"at %d" % seconds)
    journal.commit(readings)

for n in range(12):
    commit(10 * n + 0.2 * (n % 2), Reading("p", Quantity.TEMPERATURE, n, 20.0))
commit(115)
commit(140)
commit(180)
os.write(1, b"end")
"""

SOURCES = Path(__file__).parents[3]


def synced_after(script: str, path: Path) -> dict[str, set[str]]:
    """What a script says, and the files it syncs thereafter: from the kernel, by strace."""
    log = path.parent.with_name("strace.log")
    subprocess.run(
        ["strace", "-f", "-y", "-e", "trace=write,fsync,fdatasync", "-o", str(log),
         sys.executable, "-c", script, str(path)],
        check=True, capture_output=True, timeout=60, cwd=SOURCES,
    )  # fmt: skip
    synced: dict[str, set[str]] = {}
    said = "start"
    for line in log.read_text().splitlines():
        if words := re.search(r'write\(1<[^>]*>, "([^"\\]*)', line):
            said = words[1]
        elif name := re.search(r"(?:fsync|fdatasync)\(\d+<[^>]*/([^/>]+)>", line):
            synced.setdefault(said, set()).add(name[1])
    return synced


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_commits_are_synced_as_often_as_promised_and_no_oftener(path: Path) -> None:
    synced = synced_after(WRITER, path)
    # Every 30 s, at a commit every 10 s give or take; at 115 s an empty commit is not due yet, at
    # 140 s it syncs what is not synced, at 180 s there is nothing to sync.
    ahead = {"journal.db-wal"}
    due = {f"at {seconds}": ahead for seconds in (0, 30, 60, 90, 140)}
    assert {said: files for said, files in synced.items() if said.startswith("at")} == due


def test_columns_of_a_journal_are_in_time_order_whatever_came_first(path: Path) -> None:
    with closing(Journal(path)) as journal, Reader(path, path.with_name("archive.db")) as reader:
        for n in (5, 3, 9, 3, 1):
            journal.commit([at(n, 20.0 + n), at(n + 20)])
        expected = Columns.of(
            [at(n, 20.0 + n) for n in (1, 3, 5, 9)] + [at(n + 20) for n in (1, 3, 5, 9)]
        )
        assert {WARM: reader.columns(WARM, *EVER)} == expected
