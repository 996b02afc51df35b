"""From the journal into the archive: every place where it can break off."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.readings import Reading, SeriesKey
from collector.store.archive import ArchiveAway, Written
from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import KEPT_ROWS, seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault
from tests.collector.store.series import COOL, DAY_0_MS, KEYS, WARM, readings

EVER = (-(2**62), 2**62)


class PowerCut(Exception):
    """Stands for the process's end at this place."""


class Store:
    """Journal, archive and reader of one folder."""

    def __init__(self, folder: Path) -> None:
        self.journal_path = folder / "journal.db"
        self.archive_path = folder / "archive.db"
        self.journal = Journal(self.journal_path)
        self.archive = SqliteArchive(self.archive_path, wait_s=0.05)
        self.reader = Reader(self.journal_path, self.archive_path)

    def close(self) -> None:
        for part in (self.reader, self.archive, self.journal):
            part.close()

    def seen(self) -> list[Reading]:
        """Every reading that a reader sees."""
        return [one for key in KEYS for one in self.reader.columns(key, *EVER).readings(key)]

    def in_journal(self) -> int:
        with closing(sqlite3.connect(self.journal_path)) as file:
            return int(file.execute("SELECT count(*) FROM entry").fetchone()[0])


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Store(tmp_path)) as made:
        yield made


def some(count: int) -> list[Reading]:
    return [
        Reading(WARM.probe, WARM.quantity, DAY_0_MS + 10_000 * n, 31 + n % 7 / 16)
        for n in range(count)
    ]


def commit_each(store: Store, all_of: Iterable[Reading]) -> None:
    for one in all_of:
        store.journal.commit([one])


def test_sealing_moves_all_but_the_newest_and_a_reader_sees_no_difference(store: Store) -> None:
    commit_each(store, some(100))
    before = store.seen()
    assert seal(store.journal, store.archive) == 100 - KEPT_ROWS
    assert store.in_journal() == KEPT_ROWS
    assert store.seen() == before == some(100)
    assert seal(store.journal, store.archive) == 0
    assert store.seen() == before


def test_a_long_journal_is_moved_piece_by_piece(store: Store) -> None:
    whole = [
        Reading(key.probe, key.quantity, DAY_0_MS + n, 20 + n % 50 / 7)
        for n in range(400)
        for key in KEYS
        for _ in range(30)
    ]
    for n in range(400):
        store.journal.commit(whole[90 * n : 90 * n + 90])
    assert seal(store.journal, store.archive) == 3 * (400 - KEPT_ROWS)
    assert store.in_journal() == KEPT_ROWS
    assert len(store.seen()) == 3 * 400


def test_broken_off_before_the_archive_has_it_nothing_has_happened(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    commit_each(store, some(50))

    def cut(self: SqliteArchive, batch: Mapping[SeriesKey, Columns]) -> Written:
        raise PowerCut

    with monkeypatch.context() as patched:
        patched.setattr(SqliteArchive, "write", cut)
        with pytest.raises(PowerCut):
            seal(store.journal, store.archive)
    assert store.in_journal() == 50
    assert store.seen() == some(50)
    assert seal(store.journal, store.archive) == 50 - KEPT_ROWS
    assert store.seen() == some(50)


def test_broken_off_after_the_archive_has_it_nothing_is_there_twice(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    commit_each(store, some(50))

    def cut(self: Journal, ids: Iterable[int]) -> None:
        raise PowerCut

    with monkeypatch.context() as patched:
        patched.setattr(Journal, "forget", cut)
        with pytest.raises(PowerCut):
            seal(store.journal, store.archive)
    assert store.in_journal() == 50
    assert store.seen() == some(50)
    assert store.reader.series()[WARM].count == 50
    seal(store.journal, store.archive)
    assert store.in_journal() == KEPT_ROWS
    assert store.seen() == some(50)
    assert store.archive.series()[WARM].count == 50 - KEPT_ROWS


def test_a_busy_archive_is_left_for_later(store: Store) -> None:
    commit_each(store, some(40))
    with closing(sqlite3.connect(store.archive_path, isolation_level=None)) as importing:
        importing.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveAway, match="another process writes to it"):
            store.archive.write({WARM: Columns.ordered([1], [1.0])})
        assert seal(store.journal, store.archive) == 0
        assert store.in_journal() == 40
        assert store.seen() == some(40)
        importing.execute("ROLLBACK")
    assert seal(store.journal, store.archive) == 40 - KEPT_ROWS


def test_a_damaged_row_stays_and_the_others_go(store: Store) -> None:
    commit_each(store, some(40))
    with closing(sqlite3.connect(store.journal_path)) as file:
        file.execute("UPDATE entry SET packed = zeroblob(30) WHERE id = 4")
        file.commit()
    assert seal(store.journal, store.archive) == 40 - KEPT_ROWS - 1
    assert store.in_journal() == KEPT_ROWS + 1
    assert store.seen() == some(3) + some(40)[4:]


def test_a_damaged_block_keeps_readings_in_the_journal(store: Store) -> None:
    commit_each(store, some(40))
    store.archive.write({WARM: Columns.ordered([DAY_0_MS], [31.0])})
    with closing(sqlite3.connect(store.archive_path)) as file:
        file.execute("UPDATE block SET crc32 = crc32 + 1")
        file.commit()
    with pytest.raises(StoreFault, match=r"checksum does not fit; .*warmcoil repair"):
        seal(store.journal, store.archive)
    assert store.in_journal() == 40
    assert store.seen() == some(40)


@given(
    st.lists(
        st.one_of(st.just("seal"), st.lists(readings(), min_size=1, max_size=8)),
        min_size=1,
        max_size=40,
    )
)
@settings(max_examples=25, deadline=None)
def test_any_commits_and_sealings_make_the_union(
    tmp_path_factory: pytest.TempPathFactory, steps: list[str | list[Reading]]
) -> None:
    firsts: dict[tuple[SeriesKey, int], Reading] = {}
    with closing(Store(tmp_path_factory.mktemp("store"))) as store:
        for step in steps:
            if isinstance(step, str):
                seal(store.journal, store.archive)
                continue
            for one in step:
                firsts.setdefault((one.key, one.at_ms), one)
            store.journal.commit(step)
            store.journal.commit([Reading(COOL.probe, COOL.quantity, 0, 1.0)])
        firsts[COOL, 0] = Reading(COOL.probe, COOL.quantity, 0, 1.0)
        expected = sorted(firsts.values(), key=lambda one: (KEYS.index(one.key), one.at_ms))
        if any(step != "seal" for step in steps):
            assert store.seen() == expected
