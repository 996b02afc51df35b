"""The book's file: older, newer, foreign, damaged, locked, being made by several at once."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from collector.book import file as book_file
from collector.book.book import Book
from collector.book.check import check_book
from collector.book.records import (
    Animal,
    Calibrated,
    Enclosure,
    Meal,
    Shed,
    ShedStage,
    Stay,
    Weighing,
)
from collector.book.schema import STEPS
from config.errors import StoreFault
from tests.collector.book.invented import DAY, NOW

REPOSITORY = Path(__file__).parents[3]


def python(code: str, *arguments: str) -> subprocess.Popen[str]:
    """A process of its own that runs `code`."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
    )


def version_1(path: Path) -> None:
    """A book as the first step left it, with something in it."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        for statement in STEPS[0]:
            db.execute(statement)
        db.execute("INSERT INTO enclosure VALUES ('tub', NULL, NULL)")
        db.execute("INSERT INTO animal VALUES ('Juno', NULL, NULL, '2021-05-30')")
        db.execute("INSERT INTO stay VALUES ('Juno', 'tub', 1000)")
        db.execute("INSERT INTO meal (animal, taken_at_ms, prey_mass_g) VALUES ('Juno', 1, 2.5)")
        db.execute("PRAGMA user_version = 1")
        db.commit()


def version_of(path: Path) -> int:
    with closing(sqlite3.connect(path)) as db:
        return int(db.execute("PRAGMA user_version").fetchone()[0])


@pytest.mark.parametrize("read_only", [False, True])
def test_an_older_book_is_brought_up_after_a_copy(tmp_path: Path, read_only: bool) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    with Book(path, read_only=read_only) as book:
        assert book.stays() == [Stay("Juno", "tub", 1000)]
        assert book.meal(1) == Meal(1, "Juno", taken_at_ms=1, prey_mass_g=2.5)
        assert book.sheds() == []
    assert version_of(path) == len(STEPS)
    assert version_of(tmp_path / "book.db.before-2") == 1
    with Book(path) as book:
        assert book.put(Shed("Juno", NOW)) == "added"
    names = {p.name for p in tmp_path.iterdir()}
    steps = range(2, len(STEPS) + 1)
    assert names == {"book.db", *(f"book.db.before-{step}" for step in steps)}


def test_a_new_book_leaves_no_copy_of_nothing(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.put(Animal("Juno"))
    assert [p.name for p in tmp_path.iterdir()] == ["book.db"]


def test_a_shed_of_an_older_book_is_one_whose_skin_was_found(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    with closing(sqlite3.connect(path)) as db:
        for statement in STEPS[1]:
            db.execute(statement)
        db.execute("INSERT INTO shed VALUES ('Juno', 7, 'in one piece')")
        db.execute("PRAGMA user_version = 2")
        db.commit()
    with Book(path) as book:
        assert book.sheds() == [Shed("Juno", 7, "in one piece", ShedStage.SHED)]


def test_an_older_history_is_kept_and_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    with closing(sqlite3.connect(path)) as db:
        db.execute(
            "INSERT INTO history VALUES (7, 5, 'Ada', 'changed', 'animal', "
            """'{"animal":"Juno"}', '{"animal":"Juno","sex":"f"}')"""
        )
        db.commit()
    with Book(path) as book:
        (old,) = book.history()
        assert (old.number, old.entry, old.who, old.record) == (
            7,
            7,
            "Ada",
            Animal("Juno", None, "f"),
        )
        book.put(Animal("Pip"))
        assert [c.number for c in book.history()] == [7, 8]
        book.undo()
        assert [a.animal for a in book.animals()] == ["Juno"]
        book.undo()
        assert book.animal("Juno").sex == "f"
    assert check_book(path) == []


def test_a_step_that_fails_leaves_the_book_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    monkeypatch.setattr(
        book_file, "STEPS", (*STEPS, ("CREATE TABLE other (a)", "DROP TABLE meal", "no SQL"))
    )
    monkeypatch.setattr(book_file, "VERSION", len(STEPS) + 1)
    for _ in range(2):
        with pytest.raises(StoreFault, match="syntax error"):
            Book(path)
    monkeypatch.undo()
    assert version_of(path) == len(STEPS)
    with Book(path) as book:
        assert book.meal(1).prey_mass_g == 2.5
    assert check_book(path) == []


def test_a_process_killed_in_the_middle_of_a_step_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    code = (
        "import sys; from pathlib import Path; from collector.book import book, file\n"
        "long = ('WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n "
        "LIMIT 1000000000) INSERT INTO other SELECT i FROM n')\n"
        "file.STEPS = (*file.STEPS, ('DROP TABLE meal', 'CREATE TABLE other (i)', long))\n"
        "file.VERSION = len(file.STEPS); book.Book(Path(sys.argv[1]))\n"
    )
    process = python(code, str(path))
    try:
        wait_for(tmp_path / f"book.db.before-{len(STEPS) + 1}")
        time.sleep(0.1)
        assert process.poll() is None
    finally:
        process.send_signal(signal.SIGKILL)
        process.communicate()
    assert version_of(path) == len(STEPS)
    with Book(path) as book:
        assert book.meal(1).prey_mass_g == 2.5
    assert check_book(path) == []


def wait_for(path: Path) -> None:
    until = time.monotonic() + 20
    while not path.exists():
        assert time.monotonic() < until, f"{path.name} did not appear"
        time.sleep(0.01)


@pytest.mark.parametrize("read_only", [False, True])
def test_a_newer_book_is_refused_in_one_line(tmp_path: Path, read_only: bool) -> None:
    path = tmp_path / "book.db"
    with Book(path):
        pass
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 999")
    before = path.read_bytes()
    with pytest.raises(StoreFault) as caught:
        Book(path, read_only=read_only)
    assert str(caught.value) == (
        f"{path}: written by a newer Warmcoil (book version 999, this one knows {len(STEPS)}): "
        "install that version again, or restore a backup"
    )
    assert path.read_bytes() == before


@pytest.mark.parametrize("read_only", [False, True])
def test_another_sqlite_file_is_refused_and_left_alone(tmp_path: Path, read_only: bool) -> None:
    path = tmp_path / "book.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE mine (a)")
    before = path.read_bytes()
    with pytest.raises(StoreFault) as caught:
        Book(path, read_only=read_only)
    assert str(caught.value) == f"{path}: an SQLite file, but not a record book; move it away"
    assert path.read_bytes() == before


@pytest.mark.parametrize("read_only", [False, True])
def test_what_is_no_database_is_one_line(tmp_path: Path, read_only: bool) -> None:
    path = tmp_path / "book.db"
    path.write_bytes(b"rubbish" * 1000)
    with pytest.raises(StoreFault) as caught:
        Book(path, read_only=read_only)
    assert str(caught.value) == f"{path}: not a record book, or damaged; restore a backup"


def test_a_folder_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "none" / "book.db"
    with pytest.raises(StoreFault) as caught:
        Book(path)
    assert str(caught.value) == (
        f"{path}: cannot be opened; check that the folder exists and who owns it"
    )


def test_a_second_writer_waits_and_then_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(book_file, "WAIT_SECONDS", 0.2)
    with Book(tmp_path / "book.db") as first, Book(tmp_path / "book.db") as second:
        with first.transaction(), pytest.raises(StoreFault) as caught:
            second.put(Enclosure("tub"))
        assert "another command has been writing for" in str(caught.value)
        assert second.put(Enclosure("tub")) == "added"


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    for made in (False, True):
        if made:
            with Book(path):
                pass
        with (
            Book(path, read_only=True) as reader,
            pytest.raises(StoreFault, match="not be written"),
        ):
            reader.put(Enclosure("tub"))
        assert path.exists() == made


def test_a_reader_in_a_transaction_sees_one_moment(tmp_path: Path) -> None:
    with Book(tmp_path / "book.db") as book:
        book.put(Animal("Juno"))
        with Book(tmp_path / "book.db", read_only=True) as reader:
            with reader.transaction():
                assert len(reader.animals()) == 1
                book.put(Animal("Pip"))
                assert len(reader.animals()) == 1
            assert len(reader.animals()) == 2


def test_several_processes_make_and_fill_one_book(tmp_path: Path) -> None:
    """All at once on a file not yet there: none fails, nothing is lost."""
    code = (
        "import sys; from pathlib import Path\n"
        "from collector.book.book import Book; from collector.book.records import *\n"
        "with Book(Path(sys.argv[1])) as book:\n"
        "    book.put(Animal(sys.argv[2]))\n"
        "    for n in range(20): book.put(Weighing(sys.argv[2], n, mass_g=1.0))\n"
    )
    path = tmp_path / "book.db"
    processes = [python(code, str(path), f"snake {n}") for n in range(5)]
    for process in processes:
        _, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) == (0, "")
    with Book(path, read_only=True) as book:
        assert len(book.animals()) == 5
        assert len(book.weighings()) == 100


def test_a_killed_writer_leaves_whole_transactions_only(tmp_path: Path) -> None:
    """SIGKILL at several moments: of pairs written together, always both or neither are there."""
    code = (
        "import sys; from pathlib import Path\n"
        "from collector.book.book import Book; from collector.book.records import *\n"
        "with Book(Path(sys.argv[1])) as book:\n"
        "    book.put(Animal('Juno')); n = len(book.weighings())\n"
        "    print('on', flush=True)\n"
        "    while True:\n"
        "        with book.transaction():\n"
        "            book.put(Weighing('Juno', n, mass_g=1.0)); book.put(Handling('Juno', n))\n"
        "        n += 1; print(n, flush=True)\n"
    )
    path = tmp_path / "book.db"
    for round_ in range(4):
        process = python(code, str(path))
        assert process.stdout is not None
        assert process.stdout.readline() == "on\n"
        time.sleep(0.03 * round_)
        process.send_signal(signal.SIGKILL)
        said, _ = process.communicate()
        told = [int(line) for line in said.splitlines()]
        with Book(path, read_only=True) as book:
            weighed, handled = book.weighings(), book.handlings()
        assert [w.at_ms for w in weighed] == [h.at_ms for h in handled]
        assert len(weighed) >= max(told, default=0)
    assert check_book(path) == []


def test_check_names_records_that_could_not_have_been_entered(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with Book(path, now_ms=lambda: NOW) as book:
        book.put(Animal("Juno"))
        book.put(Weighing("Juno", NOW - DAY, mass_g=1.0))
    assert check_book(path) == []
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE weighing SET mass_g = -1")
        db.execute("INSERT INTO shed VALUES ('Nobody', 5, NULL, 'shed')")
        db.commit()
    assert check_book(path) == [
        "book.db: shed row 1 names something that animal does not have",
        "book.db: shed: something in it is not as it was written",
        "book.db: weighing: something in it is not as it was written",
        (
            "book.db: weighing of 'Juno' at 2023-11-13T22:13:20Z, mass_g: -1.0 g cannot be; "
            "it is more than 0 and at most 100000 g"
        ),
    ]


def test_a_book_of_the_version_before_calibrations_takes_one(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    version_1(path)
    with closing(sqlite3.connect(path)) as db:
        for step in STEPS[1:5]:
            for statement in step:
                db.execute(statement)
        db.execute("PRAGMA user_version = 5")
        db.commit()
    with Book(path, now_ms=lambda: NOW) as book:
        assert book.calibrations() == []
        assert book.stays() == [Stay("Juno", "tub", 1000)]
        one = Calibrated("p", NOW, 0.25, 0.0, 0.07, notes="ice")
        assert book.put(one) == "added"
        assert book.calibrations("p") == [one]
        book.undo()
        assert book.calibrations() == []
        assert book.history()[-1].record == one
    assert version_of(path) == len(STEPS)
    assert version_of(tmp_path / "book.db.before-6") == 5
    assert check_book(path) == []
