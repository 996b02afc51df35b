"""Commands on feeding: what and when next, and how each animal is doing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.common import (
    AnimalOption,
    HomeOption,
    JsonOption,
    NowOption,
    opened,
    print_json,
)
from analysis.cli.judging import must_know_animal

NOBODY = "No animal is in the book yet; import the animals first: warmcoil import animals FILE.csv"


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("next")(next_)
    app.command()(condition)


def next_(
    animal: AnimalOption = None,
    at: NowOption = None,
    ics: Annotated[
        Path | None,
        typer.Option(
            "--ics", metavar="FILE", help="Write it as a calendar too, for a phone to subscribe to."
        ),
    ] = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """When, what and how much to feed each animal next, and why not yet."""
    from analysis.feeding import next_meals_of_book
    from analysis.next_words import sentences

    with opened(home) as it:
        must_know_animal(it, animal)
        moment = it.moment_ms(at)
        found = next_meals_of_book(it.book, it.reader, it.care, it.settings, moment, animal=animal)
    if ics is not None:
        from analysis.feeding_calendar import write_calendar

        write_calendar(ics, found, it.settings, moment)
    if as_json:
        print_json([one.as_json() for one in found])
        return
    _print([sentences(one, it.settings) for one in found])
    if ics is not None:
        typer.echo(f"{ics} is up to date")


def condition(
    animal: AnimalOption = None,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """How each animal is doing: look, weight, food, and what is for a vet."""
    from analysis.condition import conditions_of_book
    from analysis.condition_words import sentences

    with opened(home) as it:
        must_know_animal(it, animal)
        moment = it.moment_ms(at)
        found = conditions_of_book(it.book, it.care, it.settings, moment, animal, reader=it.reader)
    if as_json:
        print_json([one.as_json() for one in found])
    else:
        _print([sentences(one, it.settings) for one in found])


def _print(animals: list[list[str]]) -> None:
    """The one sentence each, and what stands behind it under it."""
    if not animals:
        typer.echo(NOBODY)
    for number, (first, *more) in enumerate(animals):
        typer.echo(("\n" if number else "") + first)
        for line in more:
            typer.echo(f"  {line}")
