"""Commands that say what the readings mean: review, different, plot, pattern."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analysis.cli.common import (
    AnimalOption,
    HomeOption,
    JsonOption,
    NowOption,
    Opened,
    opened,
    print_json,
    print_json_list,
)
from config.errors import NotSo

if TYPE_CHECKING:
    from analysis.different import Different
    from analysis.review import Review


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(review)
    app.command()(different)
    app.command()(plot)
    app.command()(pattern)


def review(
    animal: AnimalOption = None,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """Judge every meal: was it warm enough for digestion?"""
    from analysis.review import review_all

    with opened(home) as it:
        must_know_animal(it, animal)
        moment = it.moment_ms(at)
        reviews = review_all(it.book, it.reader, it.care, it.settings, moment, animal=animal)
        if as_json:
            print_json_list(one.as_json() for one in reviews)
        else:
            _print_table(it, reviews)


def different(
    meal: Annotated[
        int | None, typer.Argument(metavar="[MEAL]", help="One meal's number, from review.")
    ] = None,
    animal: AnimalOption = None,
    every: Annotated[
        bool, typer.Option("--all", help="Tell of meals that did not come back, too.")
    ] = False,
    *,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """Tell what was different about a meal: by the rules, and beside what the animal kept down."""
    from analysis.different import different_meals
    from analysis.different_words import different_json

    with opened(home) as it:
        must_know_animal(it, animal)
        moment = it.moment_ms(at)
        told, others = different_meals(
            it.book, it.reader, it.care, it.settings, moment,
            meal=meal, animal=animal, also_kept=every,
        )  # fmt: skip
    if as_json:
        print_json([different_json(one) for one in told])
    else:
        _print_different(told, others if meal is None else 0)


def plot(
    meal: Annotated[int, typer.Argument(metavar="MEAL", help="The meal's number, from review.")],
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="FILE", help="A .png, .svg or .pdf file.")
    ],
    phone: Annotated[
        bool, typer.Option("--phone", help="A narrow picture, to be read on a telephone.")
    ] = False,
    at: NowOption = None,
    home: HomeOption = None,
) -> None:
    """Draw the post-meal plot: temperatures, cold spells, gaps, outcome, verdict in words."""
    from analysis.figures import plot_meal
    from analysis.figures.page import PHONE, WIDE
    from analysis.review import gather
    from analysis.review import review as judge

    with opened(home) as it:
        moment = it.moment_ms(at)
        record = it.book.meal(meal)
        if record.taken_at_ms is None:
            raise NotSo(f"meal {meal} was not taken: there is nothing to plot")
        gathered = gather(record, it.book, it.reader, it.care, it.settings, moment)
        judged, form = judge(gathered, it.care, it.settings), PHONE if phone else WIDE
        plot_meal(judged, gathered, out, it.settings, it.care, form)
    typer.echo(f"{out} written")


def pattern(at: NowOption = None, as_json: JsonOption = False, home: HomeOption = None) -> None:
    """Compare outcomes with conditions over the whole book, and say what it can decide."""
    from analysis.pattern import pattern_of_book
    from analysis.pattern_words import sentences

    with opened(home) as it:
        moment = it.moment_ms(at)
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


def _print_different(told: list[Different], others: int) -> None:
    from analysis.different_words import closing, headline, paragraphs
    from analysis.verdict_words import CANNOT_TELL

    for one in told:
        typer.echo(headline(one))
        for heading, lines in paragraphs(one):
            typer.echo(f"  {heading}")
            for line in lines:
                typer.echo(f"    {line}")
        typer.echo()
    if not told:
        typer.echo("No meal has come back, as far as the book knows.")
    for line in closing(told) + ([CANNOT_TELL] if told else []):
        typer.echo(line)
    if others:
        meals = "1 other meal" if others == 1 else f"{others} other meals"
        typer.echo(f"{meals}: warmcoil different --all, or warmcoil different MEAL")
