"""What an enclosure is like, from its records: enclosure."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from analysis.cli.common import (
    HomeOption,
    JsonOption,
    NowOption,
    Opened,
    opened,
    print_json,
)
from config.errors import NotSo, Unusable

if TYPE_CHECKING:
    from analysis.enclosure_model import EnclosureModel
    from analysis.enclosure_reach import Hold

_COLDER_K = 5.0
"""Without --room: a room so much colder than its coldest hour on record."""


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(enclosure)


def enclosure(  # noqa: PLR0917  # one parameter for each option
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="The enclosure; all without it.")
    ] = None,
    room: Annotated[
        float | None,
        typer.Option(
            "--room", metavar="C",
            help="How cold the room may get, in your unit; 5 °C under its coldest hour without it.",
        ),
    ] = None,
    hold: Annotated[
        float | None,
        typer.Option(
            "--hold", metavar="C",
            help="What the warm side should hold, in your unit; what it usually is without it.",
        ),
    ] = None,
    at: NowOption = None,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:  # fmt: skip
    """Say how an enclosure cools, what its heater can hold, and whether it weakens."""
    from analysis.enclosure_model import model_of_book
    from analysis.enclosure_model_words import model_sentences

    with opened(home) as it:
        names = _names(it, name)
        moment = it.moment_ms(at)
        room_c, hold_c = _celsius(it, room, "--room"), _celsius(it, hold, "--hold")
        floor_c = it.care.alarm.warm_side_low.value
        documents: list[dict[str, Any]] = []
        for one in names:
            model = model_of_book(one, it.book, it.reader, it.settings, moment)
            asked = _asked(model, room_c, hold_c)
            if as_json:
                documents.append(_document(model, asked, floor_c))
            else:
                typer.echo("\n".join(model_sentences(model, asked, floor_c, it.settings)))
        if as_json:
            print_json(documents)


def _names(it: Opened, name: str | None) -> list[str]:
    known = [one.enclosure for one in it.book.enclosures()]
    if name is None:
        return known
    if name not in known:
        raise NotSo(f"no enclosure {name!r} in the book; it knows {', '.join(known) or 'none yet'}")
    return [name]


def _celsius(it: Opened, shown: float | None, option: str) -> float | None:
    if shown is None:
        return None
    value_c = (shown - 32) / 1.8 if it.settings.show.temperature == "degF" else shown
    if not -50 <= value_c <= 80:
        raise Unusable(f"{option} {shown} is no temperature of a room or an enclosure")
    return value_c


def _asked(model: EnclosureModel, room_c: float | None, hold_c: float | None) -> Hold | None:
    hold = hold_c if hold_c is not None else model.usual_c
    room = room_c
    if room is None and len(model.by_hour.room_c):
        room = float(model.by_hour.room_c.min()) - _COLDER_K
    return None if hold is None or room is None else model.can_hold(hold, room)


def _document(model: EnclosureModel, asked: Hold | None, floor_c: float) -> dict[str, Any]:
    ahead = model.falls_to_floor_h(floor_c)
    document = model.as_json()
    document["hold"] = asdict(asked) if asked else None
    document["to_floor"] = (
        {"floor_c": floor_c, "hours": ahead[0], "low_hours": ahead[1], "high_hours": ahead[2]}
        if ahead
        else None
    )
    return document
