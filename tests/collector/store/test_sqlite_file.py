"""Opening the store's files: strangers, later versions, migrations, files that come and go."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.migrations import ARCHIVE, JOURNAL, Schema
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from collector.store.sqlite_file import LiveFile, open_as_it_is, open_for_reading, open_for_writing
from config.errors import StoreFault
from tests.collector.store.series import DAY_0_MS, WARM

ONE = Columns.ordered([DAY_0_MS], [31.0])

LATER = replace(
    ARCHIVE,
    steps=(
        *ARCHIVE.steps,
        ("ALTER TABLE series ADD COLUMN note TEXT", "UPDATE series SET note = upper(probe)"),
    ),
)

BEFORE = ARCHIVE.version


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with closing(SqliteArchive(tmp_path / "archive.db")) as archive:
        archive.write({WARM: ONE})
    return tmp_path / "archive.db"


def test_a_file_of_the_version_before_is_brought_up_with_a_copy_beside(path: Path) -> None:
    with closing(open_for_writing(path, LATER, 0)) as file:
        assert file.execute("SELECT note FROM series").fetchall() == [(WARM.probe.upper(),)]
        assert file.execute("PRAGMA user_version").fetchone() == (LATER.version,)
    with closing(SqliteArchive(path.with_name(f"archive.db.version-{BEFORE}"))) as copy:
        assert copy.columns(WARM, 0, 2**62) == ONE


def test_an_archive_of_before_the_hours_is_brought_up(tmp_path: Path) -> None:
    path, first = tmp_path / "archive.db", replace(ARCHIVE, steps=ARCHIVE.steps[:1])
    with closing(open_for_writing(path, first, 0)) as file:
        with closing(SqliteArchive(tmp_path / "now.db")) as made:
            made.write({WARM: ONE})
        file.execute("ATTACH ? AS now", (str(tmp_path / "now.db"),))
        file.execute("INSERT INTO series SELECT * FROM now.series")
        file.execute("INSERT INTO block SELECT * FROM now.block")
    with Reader(tmp_path / "journal.db", path) as reader:
        assert reader.columns(WARM, 0, 2**62) == ONE
        assert reader.hours(WARM, 0, 2**62) == []
    assert path.with_name("archive.db.version-1").exists()


def test_a_reader_brings_it_up_too(path: Path) -> None:
    file = open_for_reading(path, LATER)
    assert file is not None
    with closing(file):
        assert file.execute("SELECT count(note) FROM series").fetchone() == (1,)


@pytest.mark.parametrize(
    "broken", [("SELECT nonsense FROM nowhere",), ("DROP TABLE block", "nonsense")]
)
def test_a_step_that_fails_leaves_the_file_as_it_was(path: Path, broken: tuple[str, ...]) -> None:
    schema = replace(ARCHIVE, steps=(*ARCHIVE.steps, ("DELETE FROM block", *broken)))
    with pytest.raises(StoreFault, match=r"archive\.db: "):
        open_for_writing(path, schema, 0)
    file, version = open_as_it_is(path, ARCHIVE)
    assert file is not None
    with closing(file):
        assert version == BEFORE
        assert file.execute("SELECT count(*) FROM block").fetchone() == (1,)


def test_a_later_version_is_refused_in_one_line(path: Path) -> None:
    open_for_writing(path, LATER, 0).close()
    reason = (
        f"newer Warmcoil .archive version {LATER.version}, this one knows {BEFORE}.: "
        "install that version"
    )
    with pytest.raises(StoreFault, match=reason):
        SqliteArchive(path)
    with (
        Reader(path.with_name("journal.db"), path) as reader,
        pytest.raises(StoreFault, match=reason),
    ):
        reader.latest()


@pytest.mark.parametrize("schema", [JOURNAL, ARCHIVE])
def test_another_program_s_file_is_refused_and_not_touched(tmp_path: Path, schema: Schema) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE mine (x)")
    before = path.read_bytes()
    with pytest.raises(StoreFault, match=f"an SQLite file, but not a {schema.name}; move it away"):
        open_for_writing(path, schema, 0)
    assert path.read_bytes() == before


def test_an_archive_is_no_journal(path: Path) -> None:
    with pytest.raises(StoreFault, match="not a journal"):
        Journal(path)


def test_what_is_no_database_is_said_to_be_damaged(tmp_path: Path) -> None:
    path = tmp_path / "archive.db"
    path.write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreFault, match=r"archive\.db: damaged .*warmcoil repair"):
        SqliteArchive(path)


def test_a_folder_in_the_place_of_a_file_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "archive.db").mkdir()
    with pytest.raises(StoreFault, match="cannot be opened as needed"):
        SqliteArchive(tmp_path / "archive.db")


def test_a_live_file_follows_what_takes_its_place(path: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    live = LiveFile(tmp_path / "live.db", ARCHIVE)
    assert live.connection() is None
    (tmp_path / "live.db").touch()
    assert live.connection() is None  # an empty file is not begun
    path.replace(tmp_path / "live.db")
    first = live.connection()
    assert first is not None
    assert live.connection() is first
    SqliteArchive(other).close()
    other.replace(tmp_path / "live.db")
    second = live.connection()
    assert second is not None
    assert second.execute("SELECT count(*) FROM series").fetchone() == (0,)
    (tmp_path / "live.db").unlink()
    assert live.connection() is None
    live.close()


def test_the_journal_s_pages_are_small(tmp_path: Path) -> None:
    # A commit is about a hundred bytes; each page it touches is written whole.
    Journal(tmp_path / "journal.db").close()
    with closing(sqlite3.connect(tmp_path / "journal.db")) as file:
        assert file.execute("PRAGMA page_size").fetchone() == (512,)
        assert file.execute("PRAGMA journal_mode").fetchone() == ("wal",)


OPENER = """
import sys, time
from pathlib import Path
from collector.readings import Quantity, SeriesKey
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive

path, number, at_s = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
key = SeriesKey(f"probe {number % 2}", Quantity.TEMPERATURE)
with Reader(path.with_name("journal.db"), path) as reader:
    time.sleep(max(0, at_s - time.time()))
    reader.series()
    archive = SqliteArchive(path)
    archive.write({key: Columns.ordered([number], [31.0])})
    assert number in reader.columns(key, 0, 99).at_ms
    archive.close()
"""


def test_many_may_make_the_same_archive_at_once(tmp_path: Path) -> None:
    # Three times over: what goes wrong in making a file goes wrong within a few milliseconds.
    for attempt in range(3):
        path = tmp_path / f"{attempt}" / "archive.db"
        path.parent.mkdir()
        at_s = time.time() + 0.7
        openers = [
            subprocess.Popen(
                [sys.executable, "-W", "error", "-c", OPENER, str(path), str(n), str(at_s)],
                cwd=Path(__file__).parents[3],
            )
            for n in range(8)
        ]
        assert [opener.wait(60) for opener in openers] == [0] * 8
        with closing(SqliteArchive(path, read_only=True)) as archive:
            assert sum(span.count for span in archive.series().values()) == 8
