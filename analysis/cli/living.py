"""Commands that make a home and keep it running: init, demo, collect, watch, page, run."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.common import HomeOption, bare_home, home_at
from config.errors import NotSo
from config.settings import example_settings, load_settings


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for command in (init, demo, collect, watch, page, run):
        app.command()(command)


def init(home: HomeOption = None) -> None:
    """Make a home with a commented warmcoil.toml."""
    where = bare_home(home)
    if where.settings.exists():
        raise NotSo(f"{where.settings} is there already; nothing was changed")
    where.folder.mkdir(parents=True, exist_ok=True)
    where.settings.write_text(example_settings(), encoding="utf-8")
    typer.echo(
        f"{where.settings} made. Name your probes there, then enter enclosures and animals, "
        f"and start: warmcoil run --home {where.folder}"
    )


def demo(
    home: HomeOption = None,
    days: Annotated[int, typer.Option(min=20, max=400, help="Days of invented history.")] = 400,
    stay: Annotated[
        float | None,
        typer.Option("--for", metavar="SECONDS", help="End by itself after this long."),
    ] = None,
) -> None:
    """Make a home with an invented collection and keep it running with simulated probes."""
    from analysis.demo import run_demo

    where = bare_home(home if home is not None else Path("warmcoil-demo"))
    raise typer.Exit(run_demo(where, days=days, stay_seconds=stay))


def collect(home: HomeOption = None) -> None:
    """Run the collector: probes to store, until stopped."""
    _become("collector", home)


def watch(home: HomeOption = None) -> None:
    """Run the watch: alarms and their delivery, until stopped."""
    _become("analysis.watch", home)


def page(home: HomeOption = None) -> None:
    """Run the web page, until stopped. Without a pass phrase it listens on this machine only."""
    _become("analysis.page", home)


def run(home: HomeOption = None) -> None:
    """Run collect, watch and page together, each its own process, until stopped."""
    from analysis.together import run_together

    where = home_at(home)
    load_settings(where)
    raise typer.Exit(run_together(where))


def _become(module: str, folder: Path | None) -> None:
    """Replace this process by a light one: the command line's own libraries are not kept."""
    where = home_at(folder)
    load_settings(where)
    sys.stdout.flush()
    os.execv(  # noqa: S606  # our own module, by its name
        sys.executable, [sys.executable, "-m", module, "--home", str(where.folder)]
    )
