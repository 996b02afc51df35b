"""`warmcoil archive`: carry the readings from one kind of archive to the other."""

from __future__ import annotations

from contextlib import closing

import typer

from analysis.cli.common import HomeOption, home_at
from config.settings import load_settings


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    group = typer.Typer(help="What keeps the readings for years.", no_args_is_help=True)
    group.command("move")(move)
    app.add_typer(group, name="archive")


def move(home: HomeOption = None) -> None:
    """Carry all readings from the other kind of archive into the one the settings choose.

    First set [archive] and start the collector anew; then this, as often as you like. Each day is
    compared afterwards. The old archive is left as it is.
    """
    from collector.store.moving import KeepsHours, move_hours
    from collector.store.moving import move as carry
    from collector.store.opening import open_archive, open_old_archive

    where = home_at(home)
    settings = load_settings(where)
    where.readings.mkdir(exist_ok=True)
    count = 0
    with (
        closing(open_old_archive(where, settings)) as old,
        closing(open_archive(where, settings)) as new,
    ):
        for one in carry(old, new):
            count += one.count
            typer.echo(one.sentence())
        spans = {key: span for key, span in old.series().items() if span.thinned}
        carried = (
            move_hours(spans, old, new)
            if isinstance(old, KeepsHours) and isinstance(new, KeepsHours)
            else None
        )
    typer.echo(f"{count} readings verified by count and checksum; the old archive is kept")
    if spans and carried is None:
        typer.echo(
            "The days that it keeps by the hour alone cannot be carried there without a "
            "lasting_bucket: keep that file"
        )
    elif carried:
        typer.echo(f"{carried} hours of thinned days carried")
