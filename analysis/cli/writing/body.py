"""What is seen of an animal: weigh, handle, shed, look, droppings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Any, Final, TypeVar

import typer

from analysis import amounts
from analysis.change_words import LOOK_WORDS
from analysis.cli.common import HomeOption
from analysis.cli.writing.desk import (
    AnimalOption,
    CorrectOption,
    Desk,
    NoteOption,
    SureOption,
    WhenOption,
    at_a_terminal,
    desk,
    known_at,
)
from analysis.cli.writing.times import TimedCommand
from analysis.entering.after import perhaps_passed, vet_words
from collector.book.book import Book
from collector.book.records import (
    Dropping,
    Handling,
    Look,
    Neck,
    Ribs,
    Shed,
    ShedStage,
    Signs,
    Skin,
    Spine,
    Tail,
    Urate,
    Vent,
    Weighing,
)
from config.errors import Unusable

T = TypeVar("T", Weighing, Handling, Shed, Look, Dropping)
OF_KIND: Final[dict[type, Callable[[Book, str], list[Any]]]] = {
    Weighing: Book.weighings,
    Handling: Book.handlings,
    Shed: Book.sheds,
    Look: Book.looks,
    Dropping: Book.droppings,
}
"""How the records of one animal are read, by their kind."""
NAMES: Final[dict[type, str]] = {
    Weighing: "weighing",
    Handling: "handling",
    Shed: "shed",
    Look: "look",
    Dropping: "droppings",
}
Which = Annotated[str | None, typer.Argument(metavar="[ANIMAL]", help="Left out: the only one.")]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for command in (weigh, handle, shed, look, droppings):
        app.command(cls=TimedCommand)(command)


def weigh(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="[ANIMAL] [MASS]", help="For example: Ombra 1830g."),
    ] = None,
    *,
    length: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Of the animal: 182cm, 71.7in.")
    ] = None,
    midbody: Annotated[
        str | None, typer.Option(metavar="WIDTH", help="Width at mid-body: 41mm.")
    ] = None,
    when: WhenOption = None,
    correct: CorrectOption = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter a weight, and length and width where they were taken."""
    with desk(home, sure=sure) as it:
        name, mass = _name_and_mass(it, list(words or ()), animal)
        given = {
            "mass_g": None if mass is None else amounts.mass_g(mass, it.settings, "mass"),
            "length_cm": None
            if length is None
            else amounts.length_cm(length, it.settings, "--length"),
            "midbody_mm": None
            if midbody is None
            else amounts.width_mm(midbody, it.settings, "--midbody"),
        }
        _enter(it, Weighing, name, given, when=when, correct=correct)


def _name_and_mass(it: Desk, words: list[str], animal: str | None) -> tuple[str | None, str | None]:
    if len(words) > (2 if animal is None else 1):
        raise Unusable(
            f"{' '.join(words)!r} is more than an animal and a mass; put quotes around a name "
            "that has spaces"
        )
    if animal is not None:
        return animal, words[0] if words else None
    if len(words) == 1:
        return (None, words[0]) if _is_mass(it, words[0]) else (words[0], None)
    return (words[0], words[1]) if words else (None, None)


def _is_mass(it: Desk, word: str) -> bool:
    """Whether one word alone is the mass or the animal; what begins with a digit is a mass."""
    named = any(one.animal == word for one in it.book.animals())
    if named and amounts.is_mass(word):
        raise Unusable(f"{word!r} is an animal too; write --animal {word}, or the mass as {word}g")
    return not named and word[:1] in "0123456789+-"


def handle(
    which: Which = None,
    *,
    minutes: Annotated[
        str | None, typer.Option(metavar="MINUTES", help="How long: 10, 1.5h.")
    ] = None,
    reason: Annotated[str | None, typer.Option(metavar="TEXT", help="Why.")] = None,
    when: WhenOption = None,
    correct: CorrectOption = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter that the animal was handled."""
    with desk(home, sure=sure) as it:
        long = None if minutes is None else amounts.minutes(minutes, "--minutes")
        given = {"minutes": long, "reason": reason}
        _enter(it, Handling, animal or which, given, when=when, correct=correct)


def shed(
    which: Which = None,
    *,
    in_shed: Annotated[
        bool | None,
        typer.Option(
            "--in-shed/--skin-found", help="Dull eyes or skin seen, or the old skin found (usual)."
        ),
    ] = None,
    note: NoteOption = None,
    when: WhenOption = None,
    correct: CorrectOption = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter that a shed skin was found, or that the animal is in shed."""
    with desk(home, sure=sure) as it:
        stage = None
        if in_shed is not None or correct is None:
            stage = ShedStage.IN_SHED if in_shed else ShedStage.SHED
        _enter(
            it, Shed, animal or which, {"stage": stage, "notes": note}, when=when, correct=correct
        )


def look(
    which: Which = None,
    *,
    spine: Annotated[Spine | None, typer.Option(help="The ridge of the back.")] = None,
    ribs: Annotated[Ribs | None, typer.Option(help="The ribs along the side.")] = None,
    skin: Annotated[Skin | None, typer.Option(help="The skin along the side at rest.")] = None,
    tail: Annotated[Tail | None, typer.Option(help="The tail behind the vent.")] = None,
    vent: Annotated[Vent | None, typer.Option(help="The sides before the vent.")] = None,
    neck: Annotated[Neck | None, typer.Option(help="The step from head to neck.")] = None,
    note: NoteOption = None,
    when: WhenOption = None,
    correct: CorrectOption = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    with desk(home, sure=sure) as it:
        seen: dict[str, Any] = {
            "spine": spine,
            "ribs": ribs,
            "skin": skin,
            "tail": tail,
            "vent": vent,
            "neck": neck,
        }
        name = it.animal(animal or which)
        if not any(seen.values()) and correct is None and at_a_terminal():
            seen = _asked()
        _enter(it, Look, name, {**seen, "notes": note}, when=when, correct=correct)


def _asked() -> dict[str, Any]:
    """Part by part; Enter leaves one out."""
    kinds = {"spine": Spine, "ribs": Ribs, "skin": Skin, "tail": Tail, "vent": Vent, "neck": Neck}
    seen: dict[str, Any] = {}
    for part, kind in kinds.items():
        for word, means in LOOK_WORDS[part].items():
            typer.echo(f"  {word}: {means}")
        while part not in seen:
            answer = typer.prompt(f"{part} (Enter: not looked at)", default="", show_default=False)
            if answer.strip() in ("", *LOOK_WORDS[part]):
                seen[part] = kind(answer.strip()) if answer.strip() else None
            else:
                typer.echo(f"One of: {', '.join(LOOK_WORDS[part])}.")
    return seen


look.__doc__ = "Enter what is seen and felt of an animal's condition.\n\n" + "\n\n".join(
    f"{part}: " + "; ".join(f"{word} = {means}" for word, means in words.items()) + "."
    for part, words in LOOK_WORDS.items()
)


def droppings(
    which: Which = None,
    *,
    urate: Annotated[Urate | None, typer.Option(help="The white part.")] = None,
    signs: Annotated[Signs | None, typer.Option(help="Seen in them.")] = None,
    note: NoteOption = None,
    when: WhenOption = None,
    correct: CorrectOption = None,
    animal: AnimalOption = None,
    sure: SureOption = False,
    home: HomeOption = None,
) -> None:
    """Enter that droppings were found."""
    with desk(home, sure=sure) as it:
        given = {"urate": urate, "signs": signs, "notes": note}
        found = _enter(it, Dropping, animal or which, given, when=when, correct=correct)
        vet = vet_words(found)
        if vet is not None:
            typer.echo(vet)
        meal = perhaps_passed(it.book.meals(found.animal), found)
        if meal is not None and correct is None:
            number = meal.meal
            typer.echo(f"Has meal {number} passed? warmcoil meal {number} --outcome passed")


def _enter(
    it: Desk,
    kind: type[T],
    which: str | None,
    given: dict[str, Any],
    *,
    when: str | None,
    correct: str | None,
) -> T:
    """A new record, or the correction of one that is there; says what the book has then."""
    animal = it.animal(which)
    said = {name: value for name, value in given.items() if value is not None}
    if correct is not None:
        return _corrected(it, kind, animal, said, when=when, correct=correct)
    record = kind(animal=animal, at_ms=it.when(when), **said)
    it.enter_new(record)
    it.say(it.words(record))
    return record


def _corrected(
    it: Desk,
    kind: type[T],
    animal: str,
    said: dict[str, Any],
    *,
    when: str | None,
    correct: str,
) -> T:
    records: list[T] = OF_KIND[kind](it.book, animal)
    what = f"{NAMES[kind]} of {animal}"
    before = known_at(records, correct, it, what, lambda one: one.at_ms)
    moved: dict[str, Any] = {} if when is None else {"at_ms": it.moment(when, "--when")}
    after: T = replace(before, **said, **moved)
    if after == before:
        it.say(f"nothing was changed: {it.words(before)}")
        return after
    if after.at_ms != before.at_ms:
        it.must_be_new(after)
        it.enter(after, instead_of=(before,))
    else:
        it.enter(after)
    it.say(f"corrected: {it.words(after)}")
    return after
