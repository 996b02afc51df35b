"""Commands that look after the home: check, repair, backup, restore."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.common import (
    HomeOption,
    bare_home,
    home_at,
)
from config.errors import BadSettings, NotSo
from config.home import Home
from config.settings import load_settings


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for command in (check, repair, backup, restore):
        app.command()(command)


def check(home: HomeOption = None) -> None:
    """Check the store and the book; change nothing. Exit code 1 when there are faults."""
    from analysis.checking import check_home

    where = home_at(home)
    found = check_home(where, load_settings(where))
    for line in found.notes:
        typer.echo(line)
    for line in found.faults:
        typer.echo(f"fault: {line}")
    if found.faults:
        count = "1 fault" if len(found.faults) == 1 else f"{len(found.faults)} faults"
        mend = f"; to mend: {found.how_to_mend(where)}" if found.how_to_mend(where) else ""
        raise NotSo(f"{count} found; nothing was changed{mend}")
    typer.echo("no faults")


def repair(home: HomeOption = None) -> None:
    """Mend the store from a copy, after a typed yes; say what could not be saved."""
    from collector.store.repair import repair as mend

    where = home_at(home)
    typer.echo(
        f"What can be read of the readings in {where.readings} will be written anew; a file from "
        "which something is lost stays beside it. Stop the collector first."
    )
    if typer.prompt('Type "yes" to go on', default="no") != "yes":
        raise NotSo("nothing was changed")
    for line in mend(where.journal, where.archive):
        typer.echo(line)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The backup file to write.")],
    home: HomeOption = None,
) -> None:
    """Write settings, book, alarms and readings to one file, while everything runs."""
    from collector.backup import backup as write

    where = home_at(home)
    write(where, file)
    size_mb = file.stat().st_size / 1e6
    typer.echo(f"{file} written ({size_mb:.1f} MB). Password files are not in it.")
    if server := _server_of(where):
        typer.echo(
            f"Nor are the readings that {server} keeps: of those, only what waits in the journal "
            "is. Back the server up with its own means."
        )


def _server_of(home: Home) -> str | None:
    """The server that keeps the home's archive; None where a file does, or nobody can tell."""
    try:
        archive = load_settings(home).archive
    except BadSettings:
        return None  # a home with a slip in its settings is worth a backup all the more
    return f"InfluxDB at {archive.url}" if archive.kind == "influxdb" else None


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup file.")],
    home: HomeOption = None,
) -> None:
    """Make a home from a backup file. A home that exists is never overwritten."""
    from collector.backup import restore as read

    where = bare_home(home)
    read(file, where)
    typer.echo(f"{where.folder} restored from {file}")
