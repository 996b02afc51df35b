"""Commands that take in and hand out CSV: import, export."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, nullcontext
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.common import HomeOption, day_end_ms, home_at, moment_ms, opened, who
from config.errors import Unusable
from config.settings import load_settings

_BAR_FROM_BYTES = 2_000_000


class Kind(StrEnum):
    """What a CSV file holds."""

    READINGS = "readings"
    HOURS = "hours"
    ENCLOSURES = "enclosures"
    ANIMALS = "animals"
    PLACEMENTS = "placements"
    MEALS = "meals"
    WEIGHTS = "weights"
    HANDLING = "handling"
    SHEDS = "sheds"
    LOOKS = "looks"
    DROPPINGS = "droppings"
    CALIBRATIONS = "calibrations"


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("import")(import_)
    app.command()(export)


def import_(
    kind: Annotated[Kind, typer.Argument(help="What the file holds.")],
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="The CSV file.")],
    home: HomeOption = None,
) -> None:
    """Import a CSV file: all rows or none. The same file twice changes nothing."""
    from collector.book.book import Book
    from collector.exchange import import_file
    from collector.store.opening import open_archive

    if kind is Kind.HOURS:
        raise Unusable("hours are what is kept of readings that were thinned: they only go out")
    where = home_at(home)
    settings = load_settings(where)
    where.readings.mkdir(exist_ok=True)
    with (
        Book(where.book, who=who(), zone=settings.zone) as book,
        closing(open_archive(where, settings)) as archive,
        _bar(file) as progress,
    ):
        done = import_file(
            kind, file, book=book, archive=archive, settings=settings, progress=progress
        )
    typer.echo(done.sentence())
    for line in done.second_look():
        typer.echo(line)


def export(
    kind: Annotated[Kind, typer.Argument(help="What to export.")],
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="From this time or day on.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--to", metavar="TIME", help="Before this time; a day counts whole."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write here instead.")
    ] = None,
    home: HomeOption = None,
) -> None:
    """Write the same CSV files back, to standard output or to a file.

    `hours` are what is kept of days that were thinned; they cannot be imported.
    """
    from collector.exchange import export_rows

    with opened(home) as it:
        zone = it.settings.zone
        first, last = moment_ms(since, zone, "--from"), day_end_ms(until, zone, "--to")
        target = (
            nullcontext(sys.stdout) if out is None else out.open("w", encoding="utf-8", newline="")
        )
        with target as stream:
            export_rows(
                kind,
                stream,
                book=it.book,
                reader=it.reader,
                settings=it.settings,
                from_ms=first,
                to_ms=last,
            )


@contextmanager
def _bar(file: Path) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error for a long file, nothing for a short one."""
    size = file.stat().st_size if file.is_file() else 0
    if size < _BAR_FROM_BYTES:
        yield lambda _done, _all: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(f"reading {file.name}", total=size)

        def _move(done: int, everything: int) -> None:
            shown.update(task, completed=done, total=everything)

        yield _move
