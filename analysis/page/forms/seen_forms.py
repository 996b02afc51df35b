"""The forms of what is seen of an animal: one kind of record each, all of one make."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from analysis.change_words import LOOK_WORDS
from analysis.page.forms.columns import name_of, read
from analysis.page.forms.entering import Desk
from analysis.page.forms.typed import Typed
from collector.book.records import Dropping, Handling, Look, Shed, ShedStage, Signs, Urate, Weighing


@dataclass(frozen=True, slots=True)
class Field:
    """One field: with `choices` (the word that is sent, what stands there) or to be written in."""

    column: str
    label: str
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    more: bool = False
    """True: under the part that unfolds."""

    @property
    def name(self) -> str:
        """Its name in the form."""
        return name_of(self.column)


@dataclass(frozen=True, slots=True)
class SeenForm:
    """The form of one kind of record."""

    name: str
    record: type
    heading: str
    fields: Sequence[Field]
    starts: Mapping[str, str]
    """What is chosen where nothing was yet."""


def _either(words: type[StrEnum]) -> tuple[tuple[str, str], ...]:
    return (("", "Not looked at"), *((str(one), _begun(str(one))) for one in words))


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


_NOTES: Final = Field("notes", "Notes", more=True)
SEEN: Final[Mapping[str, SeenForm]] = {
    one.name: one
    for one in (
        SeenForm(
            "weight",
            Weighing,
            "A weight",
            (
                Field("mass_g", "Weight", "1830 g, 1.83 kg or 64.5 oz"),
                Field("length_cm", "Length", "182 cm or 71.7 in", more=True),
                Field("midbody_mm", "Width at mid-body", "41 mm or 1.6 in", more=True),
            ),
            {},
        ),
        SeenForm(
            "handling",
            Handling,
            "A handling",
            (
                Field("minutes", "For how long", "10 min or 1.5 h; may be left empty"),
                Field("reason", "Why", more=True),
            ),
            {},
        ),
        SeenForm(
            "shed",
            Shed,
            "A shed",
            (
                Field(
                    "stage",
                    "What was seen",
                    choices=(
                        (ShedStage.SHED.value, "Shed skin found"),
                        (ShedStage.IN_SHED.value, "In shed: dull eyes or skin"),
                    ),
                ),
                _NOTES,
            ),
            {"stage": ShedStage.SHED.value},
        ),
        SeenForm(
            "look",
            Look,
            "A look at its condition",
            (
                *(
                    Field(
                        part,
                        _begun(part),
                        "; ".join(f"{word}: {means}" for word, means in words.items()),
                        (("", "Not looked at"), *((word, _begun(word)) for word in words)),
                    )
                    for part, words in LOOK_WORDS.items()
                ),
                _NOTES,
            ),
            dict.fromkeys(LOOK_WORDS, ""),
        ),
        SeenForm(
            "droppings",
            Dropping,
            "Droppings",
            (
                Field("urate", "The white part", choices=_either(Urate)),
                Field("signs", "Mucus or blood", choices=_either(Signs)),
                _NOTES,
            ),
            {"urate": "", "signs": ""},
        ),
    )
}
"""The forms by their names."""


def enter_seen(it: Desk, typed: Typed, of: SeenForm) -> None:
    """Enter what was seen."""
    animal, at_ms = it.animal(typed.text("animal") or None), typed.when(it)
    values: dict[str, Any] = {one.column: read(typed, one.column, it) for one in of.fields}
    it.readable()
    said = {name: value for name, value in values.items() if value is not None}
    it.enter_new(of.record(animal=animal, at_ms=at_ms, **said))
