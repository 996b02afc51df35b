"""Each enclosure as it is now: its sentence, its ribbon, the age of its reading."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from analysis.enclosure_words import enclosure_sentence
from analysis.page.looking import Looking
from analysis.recent import recent_of


@dataclass(frozen=True, slots=True)
class EnclosureNow:
    """What the first screen says of one enclosure."""

    name: str
    sentence: str
    heard: float | None
    ribbon: Markup | None = None


def enclosures_now(home: Looking) -> list[EnclosureNow]:
    """Every enclosure, by name."""
    found = []
    for one in home.book.enclosures():
        recent = recent_of(
            one.enclosure, home.book, home.reader,
            care=home.care, settings=home.settings, now_ms=home.now_ms,
        )  # fmt: skip
        warmth = recent.warmth
        found.append(
            EnclosureNow(
                one.enclosure,
                enclosure_sentence(one.enclosure, warmth, (), home.settings),
                warmth.age_seconds,
            )
        )
    return found
