"""Each enclosure as it is now: its sentence, the age of its reading, its animals' ribbons."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from analysis.enclosure_words import digesting_sentence, warmth_sentence
from analysis.gathering import Facts, Gathered, gathered_from
from analysis.page.looking import Looking
from analysis.page.ribbons import ribbon_of
from analysis.recent import animals_in, recent_of
from analysis.review import Review, review
from analysis.tracks import Tracks
from collector.book.records import Enclosure
from config.errors import NotSo

_HOURS_LOOKED_BACK = 2.0
"""Enough for how the warm side changed within the last hour."""


@dataclass(frozen=True, slots=True)
class MealNow:
    """An animal's current or last meal."""

    animal: str
    meal: int
    ribbon: Markup


@dataclass(frozen=True, slots=True)
class EnclosureNow:
    """What the first screen says of one enclosure."""

    name: str
    room: str | None
    sentence: str
    heard_s: float | None
    """The age of its last reading on the warm side; None when there is none."""
    probed: bool
    """True when a probe lies on its warm side."""
    meals: tuple[MealNow, ...]
    without_meal: tuple[str, ...]
    """The animals of which no meal is in the book."""


def enclosures_now(home: Looking) -> list[EnclosureNow]:
    """Every enclosure, by name."""
    facts, tracks = Facts.of(home.book), Tracks(home.reader)
    return [
        _enclosure(one.enclosure, one.room, facts, tracks, home) for one in home.book.enclosures()
    ]


def must_be_enclosure(name: str, home: Looking) -> Enclosure:
    """The enclosure as the book has it. Raises NotSo, naming those there are."""
    known = {one.enclosure: one for one in home.book.enclosures()}
    if name not in known:
        there = ", ".join(known) or "none yet"
        raise NotSo(f"no enclosure {name!r} in the book; there are: {there}")
    return known[name]


def enclosure_now(name: str, home: Looking) -> EnclosureNow:
    """One enclosure. Raises NotSo."""
    room = must_be_enclosure(name, home).room
    return _enclosure(name, room, Facts.of(home.book), Tracks(home.reader), home)


def _enclosure(
    name: str, room: str | None, facts: Facts, tracks: Tracks, home: Looking
) -> EnclosureNow:
    recent = recent_of(
        name, facts, tracks,
        care=home.care, settings=home.settings, now_ms=home.now_ms,
        span_hours=_HOURS_LOOKED_BACK,
    )  # fmt: skip
    digesting = {one.gathered.meal.animal: (one.gathered, one.review) for one in recent.digesting}
    last = {
        animal: digesting.get(animal) or _last_meal(animal, facts, tracks, home)
        for animal in animals_in(name, facts, home.now_ms)
    }
    warmth = recent.warmth
    heard_s = warmth.age_seconds
    if heard_s is None and recent.warm is not None:
        heard_s = _last_heard_s(name, facts, home)
    return EnclosureNow(
        name=name,
        room=room,
        sentence="; ".join([warmth_sentence(warmth, home.settings), *_digesting(last, home)]),
        heard_s=heard_s,
        probed=recent.warm is not None,
        meals=tuple(
            MealNow(animal, one.meal, ribbon_of(one, gathered, home.care, home.settings))
            for animal, found in last.items()
            if found is not None
            for gathered, one in [found]
        ),
        without_meal=tuple(animal for animal, found in last.items() if found is None),
    )


def _last_meal(
    animal: str, facts: Facts, tracks: Tracks, home: Looking
) -> tuple[Gathered, Review] | None:
    taken = [
        meal
        for meal in facts.meals.get(animal, [])
        if meal.taken_at_ms is not None and meal.taken_at_ms <= home.now_ms
    ]
    if not taken:
        return None
    gathered = gathered_from(
        taken[-1], facts, tracks,
        care=home.care, settings=home.settings, now_ms=home.now_ms, with_room=False,
    )  # fmt: skip
    return gathered, review(gathered, home.care, home.settings)


def _digesting(last: dict[str, tuple[Gathered, Review] | None], home: Looking) -> Iterator[str]:
    """Who is digesting what, of those whose meal is not over."""
    for found in last.values():
        if found is None or found[0].window.ended_by != "now":
            continue
        gathered, one = found
        window, about_d = gathered.window, one.digestion.model_days_at_30c
        yield digesting_sentence(
            gathered.meal, window.end_ms, window.ended_by, about_d, home.settings
        )


def _last_heard_s(enclosure: str, facts: Facts, home: Looking) -> float | None:
    """How long ago any probe of a silent enclosure was heard last."""
    probes = {
        one.probe
        for one in facts.placements
        if one.enclosure == enclosure
        and one.since_ms <= home.now_ms
        and (one.until_ms is None or home.now_ms < one.until_ms)
    }
    latest = [r.at_ms for key, r in home.reader.latest().items() if key.probe in probes]
    return (home.now_ms - max(latest)) / 1000 if latest else None
