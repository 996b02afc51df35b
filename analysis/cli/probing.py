"""Commands about probes: what each says and where it lies, and which one is in a hand."""

from __future__ import annotations

import time
from typing import Annotated

import typer

from analysis.cli.common import HomeOption, JsonOption, now_ms, opened, print_json
from config.errors import NotSo

_LOOK_EVERY_S = 1.0


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    room = typer.Typer(rich_markup_mode=None)
    room.callback(invoke_without_command=True)(probes)
    room.command()(find)
    app.add_typer(room, name="probes")


def probes(context: typer.Context, as_json: JsonOption = False, home: HomeOption = None) -> None:
    """Every probe: its last reading, how old it is, and where it lies."""
    if context.invoked_subcommand is not None:
        context.obj = home
        return
    from analysis.cli.tables import probe_table, show
    from analysis.probes import probe_states

    with opened(home) as it:
        states = probe_states(it.book, it.reader, it.settings, now_ms())
        if as_json:
            print_json([state.as_json() for state in states])
        elif not states:
            typer.echo("No probe has been heard or placed yet. Is the collector running?")
        else:
            show(probe_table(states, it.settings))


def find(
    context: typer.Context,
    seconds: Annotated[
        float,
        typer.Option("--seconds", min=5, max=120, metavar="S", help="Look for so long at most."),
    ] = 60.0,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """Name the probe that is being warmed in a hand; say "not sure yet" rather than a wrong one."""
    from analysis.probes import probe_states
    from analysis.seeking import BEGIN, seek
    from collector.haste import hasten

    with opened(home or context.obj) as it:
        began_ms = now_ms()
        hasten(it.home.haste, began_ms, round(seconds * 1000) + 5_000)
        states = {one.probe: one for one in probe_states(it.book, it.reader, it.settings, began_ms)}
        typer.echo(BEGIN, err=True)
        until_s = time.monotonic() + seconds
        while True:
            time.sleep(_LOOK_EVERY_S)
            sought = seek(it.reader, it.settings, states, began_ms, now_ms())
            if sought.over or time.monotonic() >= until_s:
                break
        if as_json:
            print_json(sought.as_json())
        elif sought.probe is not None:
            typer.echo(sought.words)
            typer.echo(f"To say where it lies: warmcoil place {sought.probe!r} ENCLOSURE ZONE")
        if sought.probe is None:
            raise NotSo(sought.words)
