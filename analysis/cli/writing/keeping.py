"""Who lives where and which probe lies where: new, move, place."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Annotated, Any

import typer

from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import (
    CorrectOption,
    Desk,
    NoteOption,
    SureOption,
    desk,
    known_at,
)
from analysis.cli.writing.times import TimedCommand
from analysis.placing import enclosure_named, lying, probe_named, zone_named
from analysis.words import local_time
from collector.book.doubts import Doubt
from collector.book.records import Animal, Enclosure, Placement, Record, Stay, Zone
from collector.rfc3339 import parse_day
from config.errors import NotSo, Unusable

SinceOption = Annotated[
    str | None, typer.Option("--since", metavar="TIME", help="From when on (now); a day will do.")
]
ChangeOption = Annotated[bool, typer.Option("--change", help="Change one that is there.")]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    new = typer.Typer(help="Enter a new enclosure or animal.", rich_markup_mode=None)
    new.command("enclosure", cls=TimedCommand)(enclosure)
    new.command("animal", cls=TimedCommand)(animal)
    app.add_typer(new, name="new")
    app.command(cls=TimedCommand)(move)
    app.command(cls=TimedCommand)(place)


def enclosure(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its name.")],
    room: Annotated[str | None, typer.Option(metavar="ROOM", help="Where it stands.")] = None,
    note: NoteOption = None,
    change: ChangeOption = False,
    home: HomeOption = None,
) -> None:
    """Enter an enclosure."""
    with desk(home) as it:
        given = {"room": room, "notes": note}
        record = _named(it, Enclosure(name), given, change=change)
        (stored,) = it.enter(record)
        it.say(it.words(stored))


def animal(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its name.")],
    *,
    species: Annotated[str | None, typer.Option(metavar="NAME", help="Its species.")] = None,
    sex: Annotated[str | None, typer.Option(metavar="WORD", help="female, male, …")] = None,
    born: Annotated[str | None, typer.Option(metavar="DAY", help="2021-05-30.")] = None,
    where: Annotated[
        str | None, typer.Option("--in", metavar="ENCLOSURE", help="Where it lives.")
    ] = None,
    since: SinceOption = None,
    change: ChangeOption = False,
    home: HomeOption = None,
) -> None:
    """Enter an animal, and where it lives."""
    with desk(home) as it:
        given = {"species": species, "sex": sex, "born": _day(born)}
        record = _named(it, Animal(name), given, change=change)
        if since is not None and where is None:
            raise Unusable("--since goes with --in ENCLOSURE")
        records: list[Record] = [record]
        if where is not None:
            stay = Stay(
                name, enclosure_named(it.book, where), it.when(since, "--since", day_alone=True)
            )
            it.must_be_new(stay)
            records.append(stay)
        it.say("; ".join(it.words(one) for one in it.enter(*records)))


def _named(it: Desk, record: Any, given: dict[str, Any], *, change: bool) -> Any:
    known = it.book.stored(record)
    said = {name: value for name, value in given.items() if value is not None}
    if known is not None and not change:
        raise Unusable(f"the book has {it.words(known)} already; to change it add --change")
    if known is None and change:
        raise NotSo(f"the book has no {it.words(record)}")
    return replace(known if known is not None else record, **said)


def _day(text: str | None) -> date | None:
    try:
        return None if text is None else parse_day(text)
    except ValueError as fault:
        raise Unusable(f"--born: {fault}") from None


def move(
    which: Annotated[str, typer.Argument(metavar="ANIMAL", help="Who moves.")],
    where: Annotated[str, typer.Argument(metavar="ENCLOSURE", help="Where to.")],
    *,
    since: SinceOption = None,
    correct: CorrectOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter that an animal lives in another enclosure from now, or from a moment, on."""
    with desk(home, sure=sure) as it:
        name, tub = it.animal(which), enclosure_named(it.book, where)
        before: Stay | None = None
        if correct is not None:
            stays = it.book.stays(name)
            before = known_at(stays, correct, it, f"stay of {name}", lambda one: one.since_ms)
        at_ms = (
            before.since_ms
            if before is not None and since is None
            else it.when(since, "--since", day_alone=True)
        )
        record = Stay(name, tub, at_ms)
        if before is None or before.since_ms != at_ms:
            it.must_be_new(record)
        if before is None:
            _refuse_same_place(it, record)
        gone = (before,) if before is not None and before.since_ms != at_ms else ()
        it.enter(record, instead_of=gone)
        it.say(it.words(record))


def _refuse_same_place(it: Desk, record: Stay) -> None:
    for stay in it.book.stays(record.animal):
        until_ms = stay.until_ms
        there = stay.since_ms <= record.since_ms and (
            until_ms is None or record.since_ms < until_ms
        )
        if there and stay.enclosure == record.enclosure:
            raise Unusable(f"{it.words(stay)} already; nothing was changed")


def place(
    probe: Annotated[str, typer.Argument(metavar="PROBE", help="Its identity or its name.")],
    where: Annotated[str | None, typer.Argument(metavar="[ENCLOSURE]", help="Where to.")] = None,
    zone: Annotated[
        str | None, typer.Argument(metavar="[ZONE]", help=f"{', '.join(Zone)}.")
    ] = None,
    *,
    since: SinceOption = None,
    until: Annotated[
        str | None, typer.Option(metavar="TIME", help="Until when, where that is over.")
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="[TIME]", help="It was taken out of its place (now).")
    ] = None,
    correct: CorrectOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter that a probe lies in a zone of an enclosure from now, or from a moment, on."""
    with desk(home, sure=sure) as it:
        identity = probe_named(it.settings, probe)
        if out is not None:
            _take_out(it, identity, it.moment(out, "--out", day_alone=True))
            return
        before: Placement | None = None
        if correct is not None:
            placed = it.book.placements(identity, as_written=True)
            what = f"placement of probe {identity}"
            before = known_at(placed, correct, it, what, lambda one: one.since_ms)
        record = _placement(it, identity, where, zone, since=since, until=until, before=before)
        if before is None or before.since_ms != record.since_ms:
            it.must_be_new(record)
        gone = (before,) if before is not None and before.since_ms != record.since_ms else ()
        it.enter(record, instead_of=gone, more=_unheard(it, identity, home))
        it.say(it.words(record))


def _placement(
    it: Desk,
    probe: str,
    where: str | None,
    zone: str | None,
    *,
    since: str | None,
    until: str | None,
    before: Placement | None,
) -> Placement:
    if before is None and (where is None or zone is None):
        raise Unusable("where does it lie? warmcoil place PROBE ENCLOSURE ZONE, or --out")
    tub = (
        before.enclosure
        if where is None and before is not None
        else enclosure_named(it.book, where or "")
    )
    at_ms = before.since_ms if before is not None else it.when(since, "--since", day_alone=True)
    if before is not None and since is not None:
        at_ms = it.moment(since, "--since", day_alone=True)
    return Placement(
        probe,
        tub,
        before.zone if zone is None and before is not None else zone_named(zone or ""),
        at_ms,
        before.until_ms
        if until is None and before is not None
        else (None if until is None else it.moment(until, "--until", day_alone=True)),
    )


def _take_out(it: Desk, probe: str, at_ms: int) -> None:
    there = lying(it.book, probe, at_ms)
    if there is None:
        raise NotSo(f"probe {probe} lies nowhere at {local_time(at_ms, it.settings.zone)}")
    it.enter(replace(there, until_ms=at_ms))
    it.say(f"{it.words(there)}: taken out {it.saying().when(at_ms)}")


def _unheard(it: Desk, probe: str, home: Any) -> list[Doubt]:
    """A question about a probe that nothing knows of: most likely a slip."""
    from analysis.cli.common import home_at
    from collector.store.opening import open_reader

    known = {one.id for one in it.settings.probe} | {one.probe for one in it.settings.simulated}
    if probe in known or it.book.placements(probe):
        return []
    where = home_at(home)
    with open_reader(where, it.settings) as reader:
        heard = any(key.probe == probe for key in reader.series())
    if heard:
        return []
    return [Doubt("", f"no probe {probe!r} is in the settings or was ever heard")]
