"""Commands that say what the readings mean: review, plot, pattern."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analysis.cli.common import (
    HomeOption,
    JsonOption,
    NowOption,
    Opened,
    moment_ms,
    now_ms,
    opened,
    print_json,
)
from config.errors import NotSo

if TYPE_CHECKING:
    from analysis.review import Review


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(review)
    app.command()(plot)
    app.command()(pattern)


def review(
    animal: Annotated[
        str | None, typer.Option("--animal", metavar="A", help="Only this animal's meals.")
    ] = None,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """Judge every meal: was it warm enough for digestion?"""
    from analysis.review import review_all

    with opened(home) as it:
        must_know_animal(it, animal)
        moment = moment_ms(at, it.settings.zone, "--at") or now_ms()
        reviews = review_all(it.book, it.reader, it.care, it.settings, moment, animal=animal)
        if as_json:
            print_json([one.as_json() for one in reviews])
        else:
            _print_table(it, reviews)


def plot(
    meal: Annotated[int, typer.Argument(metavar="MEAL", help="The meal's number, from review.")],
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="FILE", help="A .png, .svg or .pdf file.")
    ],
    at: NowOption = None,
    home: HomeOption = None,
) -> None:
    """Draw the post-meal plot: temperatures, cold spells, gaps, outcome, verdict in words."""
    from analysis.figures import plot_meal
    from analysis.review import gather
    from analysis.review import review as judge

    with opened(home) as it:
        moment = moment_ms(at, it.settings.zone, "--at") or now_ms()
        record = it.book.meal(meal)
        if record.taken_at_ms is None:
            raise NotSo(f"meal {meal} was not taken: there is nothing to plot")
        gathered = gather(record, it.book, it.reader, it.care, it.settings, moment)
        plot_meal(judge(gathered, it.care, it.settings), gathered, out, it.settings, it.care)
    typer.echo(f"{out} written")


def pattern(at: NowOption = None, as_json: JsonOption = False, home: HomeOption = None) -> None:
    """Compare outcomes with conditions over the whole book, and say what it can decide."""
    from analysis.pattern import pattern_of_book
    from analysis.pattern_words import sentences

    with opened(home) as it:
        moment = moment_ms(at, it.settings.zone, "--at") or now_ms()
        settings = it.settings
        found = pattern_of_book(it.book, it.reader, it.care, settings, moment)
    if as_json:
        print_json(found.as_json())
    else:
        for line in sentences(found, settings):
            typer.echo(line)


def must_know_animal(it: Opened, animal: str | None) -> None:
    """Raise NotSo when the book has no such animal."""
    known = [one.animal for one in it.book.animals()]
    if animal is not None and animal not in known:
        raise NotSo(f"no animal {animal!r} in the book; it knows {', '.join(known) or 'none yet'}")


def _print_table(it: Opened, reviews: list[Review]) -> None:
    from analysis.cli.tables import review_table, show
    from analysis.verdict_words import CANNOT_TELL

    if not reviews:
        typer.echo("No meal has been eaten yet, as far as the book knows.")
        return
    show(review_table(reviews, {m.meal: m for m in it.book.meals()}, it.settings))
    typer.echo(f"{CANNOT_TELL} One meal with its reasons: warmcoil plot MEAL -o meal.png")
