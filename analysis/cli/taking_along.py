"""Commands that make something to take along: vet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.common import HomeOption, NowOption, day_end_ms, moment_ms, opened

_YEAR_MS = 365 * 86_400_000


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(vet)


def vet(
    animal: Annotated[str, typer.Argument(metavar="ANIMAL", help="Whose records.")],
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="A .pdf file.")],
    since: Annotated[
        str | None,
        typer.Option("--from", metavar="TIME", help="From this time or day on; a year ago else."),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--to", metavar="TIME", help="Before this time; a day counts whole."),
    ] = None,
    *,
    at: NowOption = None,
    home: HomeOption = None,
) -> None:
    """Put an animal's records on paper for a vet, with what is not known."""
    from analysis.for_vet.made import make_paper

    with opened(home) as it:
        zone, now = it.settings.zone, it.moment_ms(at)
        end_ms = day_end_ms(until, zone, "--to")
        end_ms = now if end_ms is None else end_ms
        start_ms = moment_ms(since, zone, "--from")
        start_ms = min(end_ms, now) - _YEAR_MS if start_ms is None else start_ms
        make_paper(
            animal, out, it.book, it.reader, it.care, it.settings,
            start_ms=start_ms, end_ms=end_ms, now_ms=now,
        )  # fmt: skip
    typer.echo(f"{out} written")
