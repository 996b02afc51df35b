"""`warmcoil meal`: a new offer, and the life of a meal that is in the book."""

from __future__ import annotations

from typing import Annotated, Any, Final

import typer

from analysis import amounts
from analysis.change_words import differences, meal_words
from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import AnimalOption, Desk, NoteOption, SureOption, WhenOption, desk
from analysis.cli.writing.times import TimedCommand
from analysis.entering.after import vet_words
from analysis.entering.meals import AS_LAST, Said, begin, go_on
from collector.book.records import FedIn, Meal, Outcome, PreyState, Signs
from config.errors import NotSo, Unusable

UNKNOWN: Final = {
    "prey": "prey",
    "count": "prey_count",
    "mass": "prey_mass_g",
    "width": "prey_width_mm",
    "surface": "prey_surface_c",
    "state": "prey_state",
    "in": "fed_in",
    "offered": "offered_at_ms",
    "taken": "taken_at_ms",
    "removed": "removed_at_ms",
    "outcome": "outcome",
    "when": "outcome_at_ms",
    "signs": "signs",
    "note": "notes",
}
"""What --unknown may name, and the column it is."""
_CALLED: Final = {
    "prey": "prey",
    "prey_count": "count",
    "prey_mass_g": "mass",
    "prey_width_mm": "width",
    "prey_state": "state",
    "fed_in": "place",
}


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command(cls=TimedCommand)(meal)


def meal(
    which: Annotated[
        str | None,
        typer.Argument(metavar="[ANIMAL|NUMBER]", help="A number names a meal of the book."),
    ] = None,
    *,
    prey: Annotated[str | None, typer.Option(metavar="WHAT", help="rat, mouse, …")] = None,
    mass: Annotated[str | None, typer.Option(metavar="MASS", help="Of one item: 220g.")] = None,
    count: Annotated[int | None, typer.Option(min=1, help="How many items.")] = None,
    width: Annotated[
        str | None, typer.Option(metavar="WIDTH", help="Widest part of the item: 40mm, 1.6in.")
    ] = None,
    surface: Annotated[
        str | None, typer.Option(metavar="TEMP", help="Surface when offered: 38C, 100F.")
    ] = None,
    state: Annotated[PreyState | None, typer.Option(help="How the prey came.")] = None,
    fed_in: Annotated[FedIn | None, typer.Option("--in", help="Where it was offered.")] = None,
    offered: Annotated[
        str | None, typer.Option(metavar="TIME", help="When (now, unless taken is given).")
    ] = None,
    taken: Annotated[str | None, typer.Option(metavar="[TIME]", help="It was taken (now).")] = None,
    removed: Annotated[
        str | None, typer.Option(metavar="[TIME]", help="The prey was taken away (now).")
    ] = None,
    refused: Annotated[bool, typer.Option("--refused", help="It was not taken.")] = False,
    outcome: Annotated[Outcome | None, typer.Option(help="What became of it.")] = None,
    signs: Annotated[Signs | None, typer.Option(help="Seen with a meal that came back.")] = None,
    when: WhenOption = None,
    note: NoteOption = None,
    unknown: Annotated[
        list[str] | None,
        typer.Option(metavar="WHAT", help="Leave this unknown, also where last time is known."),
    ] = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter a meal that is offered, or say how one went on: taken, removed, its outcome.

    What is not given is as last time. `warmcoil meal Ombra` is an offer, not yet taken;
    `warmcoil meal 151 --taken` says that it was, `warmcoil meal 151 --outcome passed` how it ended.
    """
    with desk(home, sure=sure) as it:
        columns = {
            "prey": prey,
            "prey_count": count,
            "prey_state": state,
            "fed_in": fed_in,
            "signs": signs,
            "notes": note,
            **_amounts(it, mass, width, surface),
            **_times(it, offered=offered, taken=taken, removed=removed),
        }
        said = Said(
            {name: value for name, value in columns.items() if value is not None},
            _outcome(outcome, refused=refused),
            None if when is None else it.moment(when, "--when"),
            tuple(_column(name) for name in unknown or ()),
        )
        if said.when_ms is not None and said.outcome is None:
            raise Unusable("--when goes with --outcome; or write for example --taken 20:30")
        if which is not None and which.isascii() and which.isdigit() and animal is None:
            _go_on(it, int(which), said)
        else:
            _begin(it, it.animal(animal if animal is not None else which), said)


def _amounts(
    it: Desk, mass: str | None, width: str | None, surface: str | None
) -> dict[str, float | None]:
    own = it.settings
    return {
        "prey_mass_g": None if mass is None else amounts.mass_g(mass, own, "--mass"),
        "prey_width_mm": None if width is None else amounts.width_mm(width, own, "--width"),
        "prey_surface_c": None
        if surface is None
        else amounts.temperature_c(surface, own, "--surface"),
    }


def _times(it: Desk, **texts: str | None) -> dict[str, int | None]:
    return {
        f"{name}_at_ms": None if text is None else it.moment(text, f"--{name}")
        for name, text in texts.items()
    }


def _outcome(outcome: Outcome | None, *, refused: bool) -> Outcome | None:
    if refused and outcome not in (None, Outcome.REFUSED):
        raise Unusable(f"--refused and --outcome {outcome} contradict one another; leave one out")
    return Outcome.REFUSED if refused else outcome


def _column(name: str) -> str:
    if name not in UNKNOWN:
        raise Unusable(f"--unknown {name!r} is none of: {', '.join(UNKNOWN)}")
    return UNKNOWN[name]


# ---- a new meal -----------------------------------------------------------------------------


def _begin(it: Desk, animal: str, said: Said) -> None:
    stored, copied = begin(it, animal, said)
    _say(it, stored, _aside(copied, said.columns))


def _aside(copied: dict[str, Any], given: dict[str, Any]) -> str:
    if not copied:
        return ""
    if not set(given) & set(AS_LAST):
        return "as last time"
    return f"{', '.join(_CALLED[name] for name in copied)} as last time"


# ---- a meal of the book ---------------------------------------------------------------------


def _go_on(it: Desk, number: int, said: Said) -> None:
    before = _known(it, number)
    if said.nothing:
        _say(it, before)
        return
    stored = go_on(it, before, said)
    if not differences(before, stored, it.settings):
        it.say(f"meal {number} says that already: nothing was changed")
        return
    _say(it, stored)


def _known(it: Desk, number: int) -> Meal:
    try:
        return it.book.meal(number)
    except NotSo:
        if any(one.animal == str(number) for one in it.book.animals()):
            raise NotSo(
                f"no meal {number} in the book; for the animal write --animal {number}"
            ) from None
        raise


# ---- both -----------------------------------------------------------------------------------


def _say(it: Desk, record: Meal, aside: str = "") -> None:
    line = meal_words(record, it.settings, it.now_ms, aside)
    if record.taken_at_ms is None and record.outcome is None:
        it.say(line, f"Taken? warmcoil meal {record.meal} --taken")
        return
    it.say(line)
    vet = vet_words(record)
    if vet is not None:
        typer.echo(vet)
