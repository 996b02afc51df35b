"""Importing a CSV file: one transaction, all rows or none; the same file twice changes nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from collector import rfc3339
from collector.book.book import Book
from collector.book.doubts import Saying
from collector.book.records import Record
from collector.book.suspects import suspects
from collector.exchange.gathered import Gathered
from collector.exchange.kinds import KINDS
from collector.exchange.readings_in import READINGS_COLUMNS, Judged, ReadingsFile
from collector.exchange.records_in import put_rows
from collector.exchange.rows import Progress, open_sheet
from collector.store.archive import Archive
from config.errors import Unusable
from config.settings import Settings

_NAMED = 10


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of the rows of a file; every row counts once, `doubted` rows beside that."""

    kind: str
    rows: int
    added: int = 0
    changed: int = 0
    same: int = 0
    differing: int = 0
    doubted: int = 0
    odd: tuple[str, ...] = ()
    """What was taken but is worth a second look: line, field, why."""

    def sentence(self) -> str:
        """One line for the keeper."""
        parts = [f"{self.rows} rows of {self.kind}: {self.added} new"]
        if self.changed:
            parts.append(f"{self.changed} changed (the versions before are kept)")
        parts.append(f"{self.same} there already")
        if self.differing:
            parts.append(f"{self.differing} there already with another value, which stays")
        if self.doubted:
            parts.append(f"{self.doubted} failed a plausibility check: kept, flagged, not used")
        return ", ".join(parts)

    def second_look(self) -> Iterator[str]:
        """The first lines that are worth a second look, one each, and how many more there are."""
        for text in self.odd[:_NAMED]:
            yield f"worth a second look: {text}"
        if len(self.odd) > _NAMED:
            yield f"and {len(self.odd) - _NAMED:,d} more"


def import_file(
    kind: str,
    path: Path,
    *,
    book: Book,
    archive: Archive,
    settings: Settings,
    progress: Progress = lambda _done, _all: None,
) -> Imported:
    """Import a file of one kind. `progress` is told what is done and what there is to do.

    Raises BadRows naming the first bad rows, or Unusable for what is no such file, or StoreFault;
    then nothing of it was taken.
    """
    if kind == "readings":
        return _import_readings(path, book, archive, settings, progress)
    if kind not in KINDS:
        raise Unusable(f"no kind {kind!r}; there are: readings, {', '.join(KINDS)}")
    way = KINDS[kind]
    with (
        open_sheet(path, way.columns, progress, may_lack=way.may_lack) as sheet,
        book.transaction(),
    ):
        counts, written = put_rows(kind, sheet, book)
        sheet.faults.raise_any()
        odd = tuple(_odd(book, written, settings))
    return Imported(
        kind, counts.total(), counts["added"], counts["changed"], counts["same"], odd=odd
    )


def _odd(book: Book, written: list[tuple[int, Record]], settings: Settings) -> Iterator[str]:
    saying = Saying(when=lambda at_ms: rfc3339.written(at_ms, settings.zone))
    for line, doubt in suspects(book, written, saying):
        yield f"line {line}, {doubt.field}: {doubt.why}"


def _import_readings(
    path: Path, book: Book, archive: Archive, settings: Settings, progress: Progress
) -> Imported:
    """Half of the work is reading the file, half is judging and writing."""
    size = 0

    def _read(done: int, whole: int) -> None:
        nonlocal size
        size = whole
        progress(done, 2 * whole)

    with (
        open_sheet(path, READINGS_COLUMNS, _read) as sheet,
        Gathered(book.path.parent) as gathered,
    ):
        rows = ReadingsFile(gathered).read(sheet)
        sheet.faults.raise_any()
        given = 0

        def _given(count: int) -> None:
            nonlocal given
            given += count
            progress(size + size * min(given, rows) // rows, 2 * size)

        sensors = {probe.id: probe.sensor for probe in settings.probe}
        batch = Judged(gathered, sensors, settings.plausibility, _given)
        written = archive.write(batch)
    progress(2 * size, 2 * size)
    differing = written.differing + batch.differing
    return Imported(
        "readings",
        rows,
        added=written.new,
        same=rows - written.new - differing,
        differing=differing,
        doubted=batch.doubted,
    )
