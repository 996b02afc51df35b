"""The paper made from a home, and written to a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from analysis.for_vet.drawn import write_paper
from analysis.for_vet.report import MealOnPaper, vet_report
from analysis.gathering import Facts, Gathered, gathered_from
from analysis.tracks import Tracks
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader


def make_paper(  # noqa: PLR0917  # a home's parts as they are opened
    animal: str,
    out: Path,
    book: Book,
    reader: Reader,
    care: CareProfile,
    settings: Settings,
    *,
    start_ms: int,
    end_ms: int,
    now_ms: int,
) -> None:
    """Write it to a .pdf file. Raises WarmcoilError, one line, when it cannot be made."""
    report = vet_report(
        animal, book, reader, care, settings, start_ms=start_ms, end_ms=end_ms, now_ms=now_ms
    )

    def gathered_of(one: MealOnPaper) -> Gathered:
        return gathered_from(
            one.record, Facts.of(book, animal), Tracks(reader),
            care=care, settings=settings, now_ms=now_ms,
        )  # fmt: skip

    write_paper(report, gathered_of, out)
