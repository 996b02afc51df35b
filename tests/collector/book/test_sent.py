"""A form is entered once, however often it comes, from however many at the same time."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from collector.book.book import Book
from collector.book.check import check_book
from collector.book.records import Animal, Weighing
from collector.book.schema import STEPS
from config.errors import BadEntry
from tests.collector.book.invented import NOW


def of(path: Path) -> Book:
    return Book(path, who="Ada", now_ms=lambda: NOW)


def test_what_comes_again_is_answered_with_the_first(tmp_path: Path) -> None:
    with of(tmp_path / "book.db") as book:
        first = book.once("k1", "d", lambda: book.put(Animal("Juno")))
        book.remove(Animal("Juno"))
        again = book.once("k1", "other", lambda: book.put(Animal("Juno")))
        assert again == first
        assert (again.entry, again.digest, again.at_ms) == (1, "d", NOW)
        assert book.animals() == []


def test_what_changed_nothing_is_kept_too(tmp_path: Path) -> None:
    with of(tmp_path / "book.db") as book:
        book.put(Animal("Juno"))
        assert book.once("k1", "d", lambda: book.put(Animal("Juno"))).entry is None
        book.put(Animal("Juno", sex="f"))
        assert book.once("k1", "d", lambda: book.put(Animal("Juno"))).entry is None
        assert book.animal("Juno").sex == "f"


def test_what_was_refused_may_be_sent_again(tmp_path: Path) -> None:
    with of(tmp_path / "book.db") as book:

        def refused() -> None:
            book.put(Animal("Juno"))
            book.put(Weighing("Juno", NOW))

        with pytest.raises(BadEntry):
            book.once("k1", "d", refused)
        assert (book.animals(), book.history()) == ([], [])
        assert book.once("k1", "d", lambda: book.put(Animal("Juno"))).entry == 1


def test_what_was_tried_out_first_is_no_part_of_the_entry(tmp_path: Path) -> None:
    with of(tmp_path / "book.db") as book:

        def work() -> None:
            with book.trial():
                book.put(Animal("Juno"))
                book.put(Animal("Pip"))
            book.put(Animal("Juno"))

        sent = book.once("k1", "d", work)
        assert [(c.number, c.entry) for c in book.history()] == [(sent.entry, sent.entry)]
        book.undo(sent.entry)
        assert book.animals() == []


def test_of_many_at_the_same_time_one_is_entered(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with of(path) as book:
        book.put(Animal("Juno"))
    together, entries = threading.Barrier(8), []

    def send(mass_g: float) -> None:
        with of(path) as book:
            together.wait(10)
            weighing = Weighing("Juno", NOW - round(mass_g), mass_g=mass_g)
            entries.append(book.once("k1", "d", lambda: book.put(weighing)).entry)

    threads = [threading.Thread(target=send, args=(100.0 + n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert entries == [2] * 8
    with of(path) as book:
        assert len(book.weighings()) == 1


def test_a_book_of_the_version_before_is_brought_up(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        for statement in (statement for step in STEPS[:4] for statement in step):
            db.execute(statement)
        db.execute("INSERT INTO animal VALUES ('Juno', NULL, NULL, NULL)")
        db.execute(
            "INSERT INTO history (at_ms, who, action, kind, key) "
            """VALUES (5, 'Ada', 'added', 'animal', '{"animal":"Juno"}')"""
        )
        db.execute("PRAGMA user_version = 4")
        db.commit()
    with of(path) as book:
        assert [a.animal for a in book.animals()] == ["Juno"]
        assert book.once("k1", "d", lambda: book.put(Animal("Pip"))).entry == 2
        assert [c.number for c in book.history()] == [1, 2]
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
    with closing(sqlite3.connect(tmp_path / "book.db.before-5")) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (4,)
    assert check_book(path) == []
