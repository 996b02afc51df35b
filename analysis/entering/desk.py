"""The desk at which the book is written: what was said is read, doubts are asked beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

from analysis import change_words, moments, words
from collector.book.book import Book
from collector.book.doubts import Doubt, Saying, doubts
from collector.book.records import Meal, Record
from collector.book.rules import shown_field
from collector.book.suspects import around
from config.errors import BadEntry, NotSo, Unusable
from config.settings import Settings


class Doubted(Unusable):
    """What is to be entered is unlikely; nothing was entered. `found` are the doubts."""

    def __init__(self, found: Sequence[Doubt]) -> None:
        self.found = tuple(found)
        super().__init__("; ".join(one.why for one in found))


class Desk:
    """A book opened for writing, for one entry. `notes` say how something was read."""

    def __init__(self, book: Book, settings: Settings, now_ms: int, *, sure: bool = False) -> None:
        self.book = book
        self.settings = settings
        self.now_ms = now_ms
        self.notes: list[str] = []
        self.sure = sure
        """True: nothing is asked."""

    # ---- reading what was written ----------------------------------------------------------------

    def moment(self, text: str, name: str, *, day_alone: bool = False) -> int:
        """A moment in UTC ms; how it was read is noted where that has to be said."""
        found = moments.moment(text, self.settings.zone, self.now_ms, name, day_alone=day_alone)
        if found.said is not None:
            self.notes.append(found.said)
        return found.at_ms

    def when(self, text: str | None, name: str = "--when", *, day_alone: bool = False) -> int:
        """A moment, now where none was given."""
        return self.moment(text or "now", name, day_alone=day_alone)

    def animal(self, name: str | None) -> str:
        """The animal of that name, or the only one. Raises NotSo naming those there are."""
        names = [one.animal for one in self.book.animals()]
        if name is None:
            return self._only(names)
        if name in names:
            return name
        alike = [one for one in names if one.casefold() == name.casefold()]
        if len(alike) == 1:
            return alike[0]
        known = ", ".join(names) or "none yet; enter it: warmcoil new animal NAME"
        raise NotSo(f"no animal {name!r} in the book; there are: {known}")

    def _only(self, names: list[str]) -> str:
        if len(names) == 1:
            return names[0]
        if not names:
            raise NotSo("no animal in the book yet; enter it: warmcoil new animal NAME")
        raise Unusable(f"which animal? there are: {', '.join(names)}")

    # ---- saying ----------------------------------------------------------------------------------

    def words(self, record: Record) -> str:
        """A record on one line."""
        return change_words.record_words(record, self.settings, self.now_ms)

    def saying(self) -> Saying:
        """How doubts name amounts and times: in the keeper's units, the home's time."""
        own, now_ms = self.settings, self.now_ms
        return Saying(
            mass=lambda value: words.mass(value, own),
            width=lambda value: change_words.width(value, own),
            length=lambda value: change_words.length(value, own),
            temperature=lambda value: words.temperature(value, own),
            when=lambda at_ms: change_words.when(at_ms, own, now_ms),
        )

    # ---- writing ---------------------------------------------------------------------------------

    def ask(self, found: Sequence[Doubt]) -> None:
        """Ask whether it is right all the same. Raises Unusable when it is not, or nobody says."""
        if not self.sure:
            raise Doubted(found)

    def enter(
        self, *records: Record, instead_of: Sequence[Record] = (), more: Sequence[Doubt] = ()
    ) -> list[Record]:
        """Write records, all or none, as the book has them then; doubts are asked about first.

        `instead_of` are taken out in the same step; `more` are doubts of the caller's own.
        Raises BadEntry for what cannot be, Unusable where a doubt is not answered with yes.
        """
        for record in records:
            self._refuse_future(record)
        found = [*more, *self._doubts(records, instead_of)]
        if found:
            self.ask(found)
        return self._write(records, instead_of)

    def enter_new(self, record: Record) -> Record:
        """Write a record that the book does not have yet. Raises as `enter` does."""
        self.must_be_new(record)
        (stored,) = self.enter(record)
        return stored

    def must_be_new(self, record: Record) -> None:
        """Refuse a record that the book has already under that key."""
        known = self.book.stored(record)
        if known is None:
            return
        how, field = "add --correct", "time"
        if isinstance(known, Meal):
            how = f"warmcoil meal {known.meal} …"
            field = "offered_at" if known.taken_at_ms is None else "taken_at"
        why = f"the book has that already: {self.words(known)}"
        raise BadEntry(f"{why}; to correct it: {how}", field=field, why=why)

    def _refuse_future(self, record: Record) -> None:
        zone = self.settings.zone
        for name in (part.name for part in fields(record) if part.name.endswith("_ms")):
            at_ms = getattr(record, name)
            if at_ms is not None and at_ms > self.now_ms + moments.AHEAD_MS:
                field = shown_field(name)
                why = (
                    f"{words.local_time(at_ms, zone)} is still to come "
                    f"(it is {words.local_time(self.now_ms, zone)}); correct the time"
                )
                raise BadEntry(f"{field}: {why}", field=field, why=why)

    def _doubts(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[Doubt]:
        """What is odd about the records now and was not before; tried out and undone."""
        before = [self.book.stored(record) for record in records]
        old = [one for record in (*before, *instead_of) for one in self._of(record)]
        with self.book.trial():
            written = self._put(records, instead_of)
            new = [one for record in written for one in self._of(record)]
        rules = {one.rule for one in old if one.rule}
        return [one for one in new if one not in old and one.rule not in rules]

    def _of(self, record: Record | None) -> list[Doubt]:
        animal = getattr(record, "animal", None)
        if record is None or animal is None or self.sure:
            return []
        return doubts(record, around(self.book, animal), self.saying())

    def _write(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[Record]:
        with self.book.transaction():
            return self._put(records, instead_of)

    def _put(self, records: Sequence[Record], instead_of: Sequence[Record]) -> list[Record]:
        for record in instead_of:
            self.book.remove(record)
        for record in records:
            self.book.put(record)
        return [self.book.stored(record) or record for record in records]
