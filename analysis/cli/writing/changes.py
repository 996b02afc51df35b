"""Looking back and taking back: history, undo, remove."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from itertools import groupby
from typing import Annotated, Any, Final

import typer

from analysis.cli.common import HomeOption
from analysis.cli.writing.body import NAMES, OF_KIND
from analysis.cli.writing.desk import Desk, SureOption, desk, known_at
from analysis.cli.writing.times import TimedCommand
from analysis.entering.told import MANY, NAMED, counted, entry_words, said_of
from analysis.words import local_time
from collector.book.doubts import Doubt
from collector.book.history import Change
from collector.book.records import (
    Animal,
    Dropping,
    Enclosure,
    Handling,
    Look,
    Record,
    Shed,
    Weighing,
)
from config.errors import NotSo, Unusable


class RemoveKind(StrEnum):
    """What can be taken out of the book."""

    MEAL = "meal"
    WEIGHING = "weighing"
    HANDLING = "handling"
    SHED = "shed"
    LOOK = "look"
    DROPPINGS = "droppings"
    STAY = "stay"
    PLACEMENT = "placement"
    CALIBRATION = "calibration"
    ANIMAL = "animal"
    ENCLOSURE = "enclosure"


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for command in (history, undo, remove):
        app.command(cls=TimedCommand)(command)


def history(
    what: Annotated[
        str | None,
        typer.Argument(
            metavar="[WHAT]", help="A meal's number, an animal, an enclosure or a probe."
        ),
    ] = None,
    last: Annotated[int, typer.Option("--last", min=1, metavar="N", help="How many.")] = 20,
    home: HomeOption = None,
) -> None:
    """Show who changed what in the record book, and when: from what, to what. Newest last."""
    with desk(home, only_read=True) as it:
        changes = _about(it, what)
        lines = [_group(it, list(part)) for _, part in groupby(changes[-500:], _together(what))]
        if not lines:
            it.say("the book has no history" + (f" of {what}" if what is not None else " yet"))
        for line in lines[-last:]:
            typer.echo(line)


def _together(what: str | None) -> Callable[[Change], int]:
    return (lambda change: change.entry) if what is None else (lambda change: change.number)


def _about(it: Desk, what: str | None) -> list[Change]:
    changes = it.book.history()
    if what is None:
        return changes
    if what.isascii() and what.isdigit():
        found = [one for one in changes if one.kind == "meal" and one.key["meal"] == int(what)]
        return found or [one for one in changes if _names(one, what, {})]
    owners = {meal.meal: meal.animal for meal in it.book.meals()}
    owners |= {
        int(str(one.key["meal"])): str(one.before["animal"])
        for one in changes
        if one.kind == "meal" and one.before is not None
    }
    found = [one for one in changes if _names(one, what, owners)]
    if not found and not _known(it, what):
        raise NotSo(f"the book knows nothing of {what!r}; warmcoil history shows everything")
    return found


def _known(it: Desk, what: str) -> bool:
    records = (Animal(what), Enclosure(what))
    return any(it.book.stored(one) is not None for one in records)


def _names(change: Change, what: str, owners: Mapping[int, str]) -> bool:
    held = {**change.key, **(change.before or {})}
    if change.kind == "meal" and owners.get(int(str(change.key["meal"]))) == what:
        return True
    return what in (held.get("animal"), held.get("enclosure"), held.get("probe"))


def _group(it: Desk, changes: Sequence[Change]) -> str:
    first = changes[0]
    head = f"{first.number}  {local_time(first.at_ms, it.settings.zone)}  {first.who}"
    if len(changes) > NAMED:
        said = f"{len(changes):,d} changes together: {counted(changes)}"
    else:
        said = "; ".join(said_of(it, one) for one in changes)
    back = f" (takes back {first.undoes})" if first.undoes is not None else ""
    return f"{head}: {said}{back}"


def undo(
    number: Annotated[
        int | None, typer.Argument(metavar="[NUMBER]", help="A change of the history.")
    ] = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Take the last change back, or the one of that number; it stays in the history."""
    with desk(home, sure=sure) as it:
        changes = it.book.to_take_back(number)
        if len(changes) > MANY:
            at = local_time(changes[0].at_ms, it.settings.zone)
            what = f"that takes back {len(changes):,d} changes of {at}: {counted(changes)}"
            it.ask([Doubt("", what)])
        said = entry_words(it, changes)
        it.book.undo(changes[0].number)
        it.say(f"taken back: {said}")


def remove(
    kind: Annotated[RemoveKind, typer.Argument(help="What.")],
    which: Annotated[
        str | None, typer.Argument(metavar="[NAME|NUMBER]", help="Whose, or which meal.")
    ] = None,
    when: Annotated[
        str | None, typer.Option("--when", metavar="TIME", help="Of which time; else the last.")
    ] = None,
    home: HomeOption = None,
) -> None:
    """Take a record out of the book; the history keeps it."""
    with desk(home) as it:
        record = _sought(it, kind, which, when)
        it.book.remove(record)
        it.say(f"removed: {it.words(record)}", "To have it back: warmcoil undo")


def _sought(it: Desk, kind: RemoveKind, which: str | None, when: str | None) -> Record:
    if kind is RemoveKind.MEAL:
        if which is None or not (which.isascii() and which.isdigit()):
            raise Unusable("which meal? warmcoil remove meal NUMBER; warmcoil review lists them")
        return it.book.meal(int(which))
    if kind is RemoveKind.ENCLOSURE:
        return Enclosure(_given(which, kind))
    if kind in (RemoveKind.PLACEMENT, RemoveKind.CALIBRATION):
        return _of_probe(it, kind, _given(which, kind), when or "last")
    animal = it.animal(which)
    if kind is RemoveKind.ANIMAL:
        return it.book.animal(animal)
    if kind is RemoveKind.STAY:
        stays = it.book.stays(animal)
        return known_at(stays, when or "last", it, f"stay of {animal}", lambda s: s.since_ms)
    record_kind = _KINDS[kind]
    records: list[Any] = OF_KIND[record_kind](it.book, animal)
    what = f"{NAMES[record_kind]} of {animal}"
    found: Record = known_at(records, when or "last", it, what, lambda one: one.at_ms)
    return found


def _of_probe(it: Desk, kind: RemoveKind, probe: str, when: str) -> Record:
    what = f"{kind} of {probe}"
    if kind is RemoveKind.CALIBRATION:
        return known_at(it.book.calibrations(probe), when, it, what, lambda one: one.at_ms)
    placed = it.book.placements(probe, as_written=True)
    return known_at(placed, when, it, what, lambda one: one.since_ms)


def _given(which: str | None, kind: RemoveKind) -> str:
    if which is None:
        raise Unusable(f"which {kind}? warmcoil remove {kind} NAME")
    return which


_KINDS: Final[Mapping[RemoveKind, type]] = {
    RemoveKind.WEIGHING: Weighing,
    RemoveKind.HANDLING: Handling,
    RemoveKind.SHED: Shed,
    RemoveKind.LOOK: Look,
    RemoveKind.DROPPINGS: Dropping,
}
