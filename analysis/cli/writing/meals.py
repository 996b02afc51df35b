"""`warmcoil meal`: a new offer, and the life of a meal that is in the book."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, Final

import typer

from analysis import amounts
from analysis.change_words import differences, meal_words
from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import AnimalOption, Desk, NoteOption, SureOption, WhenOption, desk
from analysis.cli.writing.times import TimedCommand
from collector.book.records import FedIn, Meal, Outcome, PreyState, Signs
from collector.book.rules import meal_time_ms
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
_OF_THE_ITEM: Final = ("prey_count", "prey_mass_g", "prey_width_mm")
_AS_LAST: Final = {
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


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of a meal: the columns given, and when the outcome was (UTC ms)."""

    columns: dict[str, Any]
    outcome: Outcome | None
    when_ms: int | None
    unknown: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """True when nothing was said."""
        return not (self.columns or self.outcome or self.unknown)


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
    given = dict(said.columns)
    if given.get("offered_at_ms") is None and given.get("taken_at_ms") is None:
        given["offered_at_ms"] = it.when(None)
    first = Meal(0, animal, **given)
    last = _last_before(it, first)
    copied = _as_last(given, last, said.unknown) if last is not None else {}
    record = replace(first, **copied)
    if said.outcome is not None:
        record = _ended(record, said, said.when_ms)
    it.must_be_new(record)
    (stored,) = it.enter(_removed(record))
    _say(it, stored, _aside(copied, given))


def _last_before(it: Desk, meal: Meal) -> Meal | None:
    at_ms = meal_time_ms(meal) or 0
    earlier = [one for one in it.book.meals(meal.animal) if (meal_time_ms(one) or 0) < at_ms]
    return max(earlier, key=lambda one: meal_time_ms(one) or 0, default=None)


def _as_last(given: dict[str, Any], last: Meal, unknown: tuple[str, ...]) -> dict[str, Any]:
    """What the last meal tells of this one. Another prey has another size, another mass a width."""
    other_prey = given.get("prey", last.prey) != last.prey
    other_mass = given.get("prey_mass_g", last.prey_mass_g) != last.prey_mass_g
    copied = {}
    for name in _AS_LAST:
        skipped = (other_prey and name in _OF_THE_ITEM) or (other_mass and name == "prey_width_mm")
        value = getattr(last, name)
        if value is not None and name not in given and name not in unknown and not skipped:
            copied[name] = value
    return copied


def _aside(copied: dict[str, Any], given: dict[str, Any]) -> str:
    if not copied:
        return ""
    if not set(given) & set(_AS_LAST):
        return "as last time"
    return f"{', '.join(_AS_LAST[name] for name in copied)} as last time"


# ---- a meal of the book ---------------------------------------------------------------------


def _go_on(it: Desk, number: int, said: Said) -> None:
    before = _known(it, number)
    if said.nothing:
        _say(it, before)
        return
    columns: dict[str, Any] = {**said.columns, **dict.fromkeys(said.unknown)}
    if "outcome" in columns:
        columns["outcome_at_ms"] = None
    after = replace(before, **columns)
    asked = []
    if said.outcome is not None:
        default_ms = after.removed_at_ms if said.outcome is Outcome.REFUSED else None
        at_ms = said.when_ms if said.when_ms is not None else default_ms
        if said.outcome is Outcome.REFUSED and "taken_at_ms" not in said.columns:
            asked = _taken_after_all(it, before)
            after = replace(after, taken_at_ms=None)
        after = _ended(after, said, at_ms if at_ms is not None else it.when(None))
    elif "taken_at_ms" in said.columns and before.outcome is Outcome.REFUSED:
        after = replace(after, outcome=None, outcome_at_ms=None)
    (stored,) = it.enter(_removed(after), more=asked)
    changed = "; ".join(differences(before, stored, it.settings))
    if not changed:
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


def _taken_after_all(it: Desk, before: Meal) -> list[str]:
    if before.taken_at_ms is None:
        return []
    return [f"meal {before.meal} is down as taken {it.saying().when(before.taken_at_ms)}"]


# ---- both -----------------------------------------------------------------------------------


def _ended(meal: Meal, said: Said, at_ms: int | None) -> Meal:
    if said.outcome is not Outcome.REFUSED and meal.taken_at_ms is None:
        which = f"meal {meal.meal}" if meal.meal else "the meal"
        raise Unusable(f"{which} is not down as taken; say when it was: --taken TIME")
    return replace(meal, outcome=said.outcome, outcome_at_ms=at_ms)


def _removed(meal: Meal) -> Meal:
    """Prey that was taken away and not eaten was refused."""
    if meal.removed_at_ms is None or meal.taken_at_ms is not None or meal.outcome is not None:
        return meal
    return replace(meal, outcome=Outcome.REFUSED, outcome_at_ms=meal.removed_at_ms)


def _say(it: Desk, record: object, aside: str = "") -> None:
    if not isinstance(record, Meal):
        raise TypeError(record)
    line = meal_words(record, it.settings, it.now_ms, aside)
    if record.taken_at_ms is None and record.outcome is None:
        it.say(line, f"Taken? warmcoil meal {record.meal} --taken")
        return
    it.say(line)
    odd = record.signs not in (None, Signs.NONE)
    if record.outcome is Outcome.VOMITED or (odd and record.outcome is not None):
        typer.echo("Vomiting, mucus or blood: ask a vet at once.")
