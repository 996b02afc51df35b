"""One reader over journal and archive: complete, without doubles, whatever goes on meanwhile."""

from __future__ import annotations

import logging
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.readings import Flag, Reading, SeriesKey
from collector.store.archive import Span
from collector.store.codec import unpack
from collector.store.columns import DAY_MS, Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from tests.collector.store.series import DAMP, DAY_0_MS, KEYS, WARM, believable, few_days, readings

EVER = (-(2**62), 2**62)
SOURCES = Path(__file__).parents[3]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "readings"


def reader_of(folder: Path) -> Reader:
    return Reader(folder / "journal.db", folder / "archive.db")


def warm(n: int, raw: float = 31.0, flags: Flag = Flag.NONE) -> Reading:
    return Reading(WARM.probe, WARM.quantity, DAY_0_MS + 1000 * n, raw, flags=flags)


def archived(folder: Path, some: list[Reading]) -> None:
    folder.mkdir(exist_ok=True)
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        archive.write(Columns.of(some))


def seen(reader: Reader) -> list[Reading]:
    return [one for key in KEYS for one in reader.columns(key, *EVER).readings(key)]


def test_files_that_do_not_exist_yet_are_empty_and_then_are_not(folder: Path) -> None:
    with reader_of(folder) as reader:
        assert reader.series() == {}
        assert reader.latest() == {}
        assert len(reader.columns(WARM, *EVER)) == 0
        assert reader.blocks(WARM, *EVER).blocks == []
        assert not folder.exists()
        with closing(Journal(folder / "journal.db")) as journal:
            assert reader.series() == {}
            journal.commit([warm(0)])
            assert seen(reader) == [warm(0)]
            archived(folder, [warm(1)])
            assert seen(reader) == [warm(0), warm(1)]


@given(
    st.lists(readings(), max_size=30),
    st.lists(readings(), max_size=30),
    few_days,
    few_days,
)
@settings(max_examples=40, deadline=None)
def test_all_views_agree_on_the_union(
    tmp_path_factory: pytest.TempPathFactory,
    in_archive: list[Reading],
    in_journal: list[Reading],
    start_ms: int,
    end_ms: int,
) -> None:
    folder = tmp_path_factory.mktemp("readings")
    archived(folder, in_archive)
    firsts: dict[tuple[SeriesKey, int], Reading] = {}
    for one in in_archive + in_journal:
        firsts.setdefault((one.key, one.at_ms), one)
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        journal.commit(in_journal)
        for key in KEYS:
            whole = sorted((o for o in firsts.values() if o.key == key), key=lambda o: o.at_ms)
            window = [one for one in whole if start_ms <= one.at_ms < end_ms]
            assert list(reader.columns(key, *EVER).readings(key)) == whole
            assert list(reader.columns(key, start_ms, end_ms).readings(key)) == window
            packed = reader.blocks(key, start_ms, end_ms)
            blocks = Columns.joined(map(unpack, packed.blocks)).cut(start_ms, end_ms)
            assert list(blocks.merged(packed.journal).readings(key)) == window
            assert reader.latest().get(key) == (whole[-1] if whole else None)
            span = Span(len(whole), whole[0].at_ms, whole[-1].at_ms) if whole else None
            assert reader.series().get(key) == span


def test_the_latest_is_the_newest_flagged_or_not_wherever_it_is(folder: Path) -> None:
    archived(folder, [warm(5), Reading(DAMP.probe, DAMP.quantity, DAY_0_MS, 70.0)])
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        assert reader.latest()[WARM] == warm(5)
        journal.commit([warm(4)])
        assert reader.latest()[WARM] == warm(5)
        journal.commit([warm(6, 85.0, Flag.POWER_ON)])
        assert reader.latest()[WARM] == warm(6, 85.0, Flag.POWER_ON)
        archived(folder, [warm(9)])
        assert reader.latest()[WARM] == warm(9)
        assert reader.latest()[DAMP].raw == 70.0


def test_a_reader_kept_for_long_follows_sealings(folder: Path) -> None:
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        with closing(SqliteArchive(folder / "archive.db")) as archive:
            for n in range(200):
                journal.commit([warm(n)])
                if n % 23 == 0:
                    seal(journal, archive)
                assert reader.latest()[WARM] == warm(n)
                assert reader.series()[WARM].count == n + 1
        assert seen(reader) == [warm(n) for n in range(200)]


def test_what_is_handed_out_is_the_caller_s_own(folder: Path) -> None:
    archived(folder, [warm(n) for n in range(3)])
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        journal.commit([warm(n) for n in range(5, 8)])
        for start_ms in (EVER[0], DAY_0_MS + 5000):
            mine = reader.columns(WARM, start_ms, EVER[1])
            before = list(mine.readings(WARM))
            mine.at_ms.append(0)
            mine.flags[0] = 1
            assert list(reader.columns(WARM, start_ms, EVER[1]).readings(WARM)) == before


def test_a_restored_store_is_read_anew(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    archived(folder, [warm(1)])
    archived(other, [warm(7)])
    with closing(Journal(folder / "journal.db")) as journal:
        journal.commit([warm(2)])
    with closing(Journal(other / "journal.db")) as journal:
        journal.commit([warm(8)])
    with reader_of(folder) as reader:
        assert seen(reader) == [warm(1), warm(2)]
        shutil.rmtree(folder)
        assert seen(reader) == []
        other.rename(folder)
        assert seen(reader) == [warm(7), warm(8)]


# Damage -----------------------------------------------------------------------------------------


def test_a_damaged_block_is_a_gap_and_is_said_once(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    day_2 = warm(2 * 86_400)
    archived(folder, [warm(0), warm(86_400), day_2])
    with closing(sqlite3.connect(folder / "archive.db")) as file:
        file.execute(
            "UPDATE block SET packed = zeroblob(40) WHERE day = (SELECT max(day) FROM block)"
        )
        file.commit()
    with caplog.at_level(logging.WARNING), reader_of(folder) as reader:
        for _ in range(3):
            assert seen(reader) == [warm(0), warm(86_400)]
            assert reader.latest()[WARM] == warm(86_400)
            assert len(reader.blocks(WARM, *EVER).blocks) == 2
    (said,) = [record.getMessage() for record in caplog.records]
    assert said.startswith(f"{WARM.probe} temperature, day {day_2.at_ms // DAY_MS} since 1970: ")
    assert said.endswith("a damaged block: its checksum does not fit; run: warmcoil check")


def test_a_damaged_row_of_the_journal_is_passed_over(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        for n in range(5):
            journal.commit([warm(n)])
        with closing(sqlite3.connect(folder / "journal.db")) as file:
            file.execute("UPDATE entry SET packed = zeroblob(40) WHERE id IN (1, 3)")
            file.commit()
        assert seen(reader) == [warm(1), warm(3), warm(4)]
        journal.commit([warm(5)])
        assert seen(reader) == [warm(1), warm(3), warm(4), warm(5)]
    assert len(caplog.records) == 2


# While others write -----------------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from collector.readings import Quantity, Reading
from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive

folder = Path(sys.argv[1])
journal = Journal(folder / "journal.db")
for n in range(1500):
    at_ms = int(sys.argv[3]) + 1000 * n
    journal.commit([Reading(sys.argv[2], Quantity.TEMPERATURE, at_ms, 31.0)])
    if n % 20 == 19:
        archive = SqliteArchive(folder / "archive.db")
        seal(journal, archive)
        archive.close()
"""


@pytest.fixture
def writer(folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), WARM.probe, str(DAY_0_MS)], cwd=SOURCES
    ) as process:
        yield process
        process.kill()


def test_nothing_is_hidden_or_doubled_while_another_process_seals(
    folder: Path, writer: subprocess.Popen[bytes]
) -> None:
    had = 0
    with reader_of(folder) as reader:
        while (running := writer.poll() is None) or had == 0:
            columns = reader.columns(WARM, *EVER)
            count = len(columns)
            assert list(columns.at_ms) == [DAY_0_MS + 1000 * n for n in range(count)]
            assert count >= had
            spans = reader.series()
            assert not spans or spans[WARM].count >= count
            latest = reader.latest()
            assert not latest or latest[WARM].at_ms >= DAY_0_MS + 1000 * (count - 1)
            had = count
            if not running:
                break
            time.sleep(0.002)
        assert writer.returncode == 0
        assert len(reader.columns(WARM, *EVER)) == 1500


def test_readers_wait_for_nobody_while_an_import_holds_the_archive(folder: Path) -> None:
    archived(folder, [warm(0)])
    with closing(sqlite3.connect(folder / "archive.db", isolation_level=None)) as importing:
        importing.execute("BEGIN EXCLUSIVE")
        importing.execute("DELETE FROM block")
        began = time.monotonic()
        with reader_of(folder) as reader:
            assert seen(reader) == [warm(0)]
        assert time.monotonic() - began < 5  # a reader that waits does so for 30 s
        importing.execute("ROLLBACK")


def test_many_threads_may_share_a_reader(folder: Path) -> None:
    folder.mkdir()
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        archive.write({WARM: believable(20_000)})
    counts: list[int] = []
    with closing(Journal(folder / "journal.db")) as journal, reader_of(folder) as reader:
        journal.commit([warm(10**6)])
        threads = [
            threading.Thread(target=lambda: counts.append(len(reader.columns(WARM, *EVER))))
            for _ in range(8)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert counts == [20_001] * 8
