"""`warmcoil due`: what the book waits for, each question with the command that answers it."""

from __future__ import annotations

from typing import Annotated

import typer

from analysis.change_words import meal_words
from analysis.cli.common import (
    HomeOption,
    JsonOption,
    NowOption,
    moment_ms,
    now_ms,
    opened,
    print_json,
)
from analysis.meal_life import Due, due
from analysis.words import age
from collector.rfc3339 import written
from config.settings import Settings


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command("due")(due_)


def due_(
    animal: Annotated[
        str | None, typer.Option("--animal", metavar="A", help="Only this animal's meals.")
    ] = None,
    most: Annotated[int, typer.Option("--most", min=1, metavar="N", help="How many.")] = 20,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """List the meals that have a question open: taken or still there, and what became of it."""
    with opened(home) as it:
        moment = moment_ms(at, it.settings.zone, "--at") or now_ms()
        if animal is not None:
            it.book.animal(animal)
        found = due(
            it.book.meals(animal), moment, it.care, it.settings.zone, it.book.weighings(animal)
        )
    if as_json:
        print_json([_as_json(one) for one in found])
        return
    for one in found[-most:]:
        typer.echo(_line(one, it.settings, moment))
    if len(found) > most:
        typer.echo(f"And {len(found) - most} older ones: --most {len(found)}")
    if not found:
        typer.echo("Nothing is open.")


def _line(one: Due, settings: Settings, moment: int) -> str:
    words = meal_words(one.meal, settings, moment)
    since = age((moment - one.at_ms) / 1000)
    return (
        f"{words[:1].upper()}{words[1:]}: {one.question} (due {since}) {' or '.join(one.answers)}"
    )


def _as_json(one: Due) -> dict[str, object]:
    return {
        "meal": one.meal.meal,
        "animal": one.meal.animal,
        "state": one.state,
        "due": written(one.at_ms),
        "question": one.question,
        "answers": list(one.answers),
    }
