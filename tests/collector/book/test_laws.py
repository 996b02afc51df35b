"""The book against a dictionary: whatever is put and removed, in whatever order."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from collector.book.book import Book
from collector.book.check import check_book
from collector.book.records import Animal, Enclosure, Record, Shed, Weighing
from config.errors import BadEntry, NotSo
from tests.collector.book.invented import NOW, books, fill, sheds, weighings

SNAKES = st.sampled_from(["Juno", "Pip"])
few = st.one_of(weighings(SNAKES), sheds(SNAKES)).map(
    lambda record: replace(record, at_ms=NOW - abs(record.at_ms) % 3)
)


class AgainstADictionary(RuleBasedStateMachine):
    """Weighings and sheds at three moments: they meet all the time."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        path = Path(self.folder.name) / "book.db"
        self.book = Book(path, who="a test", now_ms=lambda: NOW)
        for name in ("Juno", "Pip"):
            self.book.put(Animal(name))
        self.expected: dict[tuple[type, str, int], Weighing | Shed] = {}
        self.kept: list[tuple[str, Record | None]] = [("added", None), ("added", None)]

    @rule(record=few)
    def put(self, record: Weighing | Shed) -> None:
        if isinstance(record, Shed) and record.notes == "":
            record = replace(record, notes=None)
        key = type(record), record.animal, record.at_ms
        before = self.expected.get(key)
        said = "added"
        if before is not None:
            said = "same" if before == record else "changed"
            self.kept += [("changed", before)] if said == "changed" else []
        else:
            self.kept.append(("added", None))
        assert self.book.put(record) == said
        self.expected[key] = record

    @rule(record=few)
    def remove(self, record: Weighing | Shed) -> None:
        before = self.expected.pop((type(record), record.animal, record.at_ms), None)
        try:
            self.book.remove(record)
        except NotSo:
            assert before is None
        else:
            assert before is not None
            self.kept.append(("removed", before))

    @rule(records=st.lists(few, max_size=4))
    def put_all_or_none(self, records: list[Weighing | Shed]) -> None:
        try:
            with self.book.transaction():
                for record in records:
                    self.book.put(record)
                self.book.put(Shed("Nobody", NOW))
        except BadEntry:
            return
        raise AssertionError

    @rule()
    def undo_the_last(self) -> None:
        """What it said before comes back, whatever was done, and the undo is kept beside it."""
        now = dict(self.expected)
        for change in self.book.to_take_back():
            before, after = change.record, self.book.after(change)
            if change.kind == "animal":
                return  # the first two entries: the animals, which the rest needs
            assert isinstance(before, Weighing | Shed | None)
            assert isinstance(after, Weighing | Shed | None)
            known = before or after
            assert known is not None
            key = type(known), known.animal, known.at_ms
            assert now.get(key) == after
            now.pop(key, None)
            if before is not None:
                now[key] = before
            action = "added" if after is None else "removed" if before is None else "changed"
            self.kept.append((action, after))
        self.book.undo()
        self.expected = now

    @invariant()
    def the_book_says_what_it_should(self) -> None:
        if not hasattr(self, "book"):
            return
        records: list[Weighing | Shed] = [*self.book.weighings(), *self.book.sheds()]
        there = {(type(r), r.animal, r.at_ms): r for r in records}
        assert there == self.expected
        assert [(c.action, c.record) for c in self.book.history()] == self.kept

    def teardown(self) -> None:
        if hasattr(self, "book"):
            self.book.close()
            assert check_book(self.book.path) == []
            self.folder.cleanup()


TestAgainstADictionary = AgainstADictionary.TestCase
TestAgainstADictionary.settings = settings(max_examples=15, stateful_step_count=20, deadline=None)


def all_of(book: Book) -> list[list[Record]]:
    return [
        list(records)
        for records in (
            book.enclosures(), book.animals(), book.stays(), book.placements(), book.meals(),
            book.weighings(), book.handlings(), book.sheds(), book.looks(), book.droppings(),
        )
    ]  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(books())
def test_what_the_book_says_may_be_put_back_and_is_the_same(records: list[Record]) -> None:
    with (
        tempfile.TemporaryDirectory() as folder,
        Book(Path(folder) / "book.db", now_ms=lambda: NOW) as book,
    ):
        fill(book, records)
        before = all_of(book)
        changes = len(book.history())
        for record in (one for part in before for one in part):
            assert book.put(record) == "same"
        assert all_of(book) == before
        assert len(book.history()) == changes
        for stays in ([s for s in book.stays() if s.animal == a.animal] for a in book.animals()):
            assert [s.until_ms for s in stays[:-1]] == [s.since_ms for s in stays[1:]]
        for part in reversed(before):
            for record in part:
                book.remove(record)
        assert all_of(book) == [[]] * 10


def test_history_says_who_when_and_what(tmp_path: Path) -> None:
    clock = iter(range(NOW, NOW + 100))
    with Book(tmp_path / "book.db", who="Ada", now_ms=lambda: next(clock)) as book:
        book.put(Enclosure("tub", "cellar"))
        book.put(Enclosure("shelf"))
        book.put(Enclosure("tub", "attic"))
        with Book(tmp_path / "book.db", who="Ben", now_ms=lambda: NOW + 200) as other:
            other.remove(Enclosure("tub"))
        added, first, second = book.history(Enclosure("tub"))
        assert (added.who, added.action, added.record) == ("Ada", "added", None)
        assert (book.after(added), book.after(first)) == (first.record, second.record)
        assert book.after(second) is None
        assert (first.who, first.action, first.record) == (
            "Ada",
            "changed",
            Enclosure("tub", "cellar"),
        )
        assert NOW < first.at_ms < NOW + 100
        assert (second.who, second.at_ms, second.kind) == ("Ben", NOW + 200, "enclosure")
        assert (second.action, (second.before or {})["room"]) == ("removed", "attic")
        (shelf,) = book.history(Enclosure("shelf"))
        assert book.history() == [added, shelf, first, second]
        assert [c.number for c in book.undo()] == [second.number]
        assert book.stored(Enclosure("tub")) == Enclosure("tub", "attic")
