"""Commands on who may look at the page: passphrase, token new, token list, token revoke."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from analysis.cli.common import HomeOption, JsonOption, home_at, now_ms, print_json
from config.errors import NotSo, Unusable
from config.settings import load_settings

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="What the token is for.")]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(passphrase)
    tokens = typer.Typer(
        name="token", help="Tokens for programs that ask the page's API.", no_args_is_help=True
    )
    tokens.command("new")(new)
    tokens.command("list")(list_)
    tokens.command("revoke")(revoke)
    app.add_typer(tokens)


def passphrase(
    clear: Annotated[
        bool, typer.Option("--clear", help="Take it away: the page is for this machine only.")
    ] = False,
    home: HomeOption = None,
) -> None:
    """Set the page's pass phrase: from then on it may be reached over the home's network."""
    from analysis.page.access.access_file import access_path
    from analysis.page.access.passphrase import PassphraseFile
    from analysis.page.access.sessions import Sessions

    where = home_at(home)
    file = PassphraseFile(where.folder)
    if clear:
        if not file.clear():
            raise NotSo("no pass phrase is set; nothing was changed")
        typer.echo("The pass phrase is taken away: the page answers this machine only.")
    else:
        file.set(_asked_twice())
        typer.echo("The pass phrase is set. Start the page again if it was running.")
    Sessions(access_path(where.folder)).end_all()


def new(name: NameArgument, home: HomeOption = None) -> None:
    """Make a token and print it, this once."""
    from analysis.page.access.access_file import access_path
    from analysis.page.access.tokens import Tokens

    where = home_at(home)
    typer.echo(Tokens(access_path(where.folder)).make(name, now_ms()))
    typer.echo("It is shown this once; keep it where only that program reads it.", err=True)


def list_(as_json: JsonOption = False, home: HomeOption = None) -> None:
    """The tokens that hold, by name."""
    from analysis.page.access.access_file import access_path
    from analysis.page.access.tokens import Tokens
    from analysis.words import local_time
    from collector.rfc3339 import written

    where = home_at(home)
    zone = load_settings(where).zone
    found = Tokens(access_path(where.folder)).all()
    if as_json:
        print_json([{"name": one.name, "made": written(one.made_ms)} for one in found])
    elif not found:
        typer.echo("No token has been made.")
    else:
        for one in found:
            typer.echo(f"{one.name}: made {local_time(one.made_ms, zone)}")


def revoke(name: NameArgument, home: HomeOption = None) -> None:
    """End a token, from this moment on."""
    from analysis.page.access.access_file import access_path
    from analysis.page.access.tokens import Tokens

    Tokens(access_path(home_at(home).folder)).revoke(name)
    typer.echo(f"{name}: revoked")


def _asked_twice() -> str:
    """The pass phrase, typed twice at a terminal, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = str(typer.prompt("Pass phrase", hide_input=True))
    if typer.prompt("The same again", hide_input=True) != first:
        raise Unusable("the two were not the same; nothing was changed")
    return first
