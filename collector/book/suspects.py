"""The doubts of many records at once: what the book has around each is gathered once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from collector.book.doubts import Around, Doubt, Saying, doubts
from collector.book.records import Record

if TYPE_CHECKING:
    from collector.book.book import Book


def around(book: Book, animal: str) -> Around:
    """What the book has of one animal."""
    return Around(
        stays=book.stays(animal),
        meals=book.meals(animal),
        weighings=book.weighings(animal),
        handlings=book.handlings(animal),
        sheds=book.sheds(animal),
    )


def suspects(
    book: Book, records: Iterable[tuple[int, Record]], saying: Saying | None = None
) -> Iterator[tuple[int, Doubt]]:
    """The doubts about numbered records that are in the book already, in their order."""
    by_animal: dict[str, list[tuple[int, Record]]] = defaultdict(list)
    for number, record in records:
        animal = getattr(record, "animal", None)
        if animal is not None:
            by_animal[animal].append((number, record))
    found: list[tuple[int, Doubt]] = []
    for animal, own in by_animal.items():
        known = around(book, animal)
        found += [(n, doubt) for n, record in own for doubt in doubts(record, known, saying)]
    yield from sorted(found, key=lambda one: one[0])
