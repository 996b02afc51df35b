"""What could be true but is more likely a slip: asked about before it is written, never refused.

Pure over a record and the records of the same animal around it. The numbers are our own choice:
they catch slips of the finger, wrong units and wrong days; an unusual animal may still be entered.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC
from typing import Final

from collector import rfc3339
from collector.book.records import (
    Handling,
    Meal,
    Outcome,
    Record,
    Shed,
    ShedStage,
    Stay,
    Weighing,
)
from collector.book.rules import DAY_MS, meal_time_ms

HOUR_MS: Final = 3_600_000
LIKE_DAYS: Final = 60
"""Weighings this near to one another should be alike."""
LIKE_FACTOR: Final = 1.5
LIKE_FACTOR_YOUNG: Final = 2.5
"""A hatchling that has begun to feed doubles in weeks."""
YOUNG_G: Final = 300.0
YEAR_FACTOR: Final = 4.0
"""Over up to a year."""
LENGTH_FACTOR: Final = 1.3
SHRUNK_FACTOR: Final = 0.9
MEAL_SHARE: Final = 0.6
"""Prey of more than this share of the body is more than a boa is ever fed."""
WIDTH_FACTOR: Final = 2.0
PREY_FACTOR: Final = 5.0
MOST_PREY: Final = 10
HOT_PREY_C: Final = 48.0
COLD_PREY_C: Final = 10.0
MEALS_APART_MS: Final = 24 * HOUR_MS
TAKEN_MS: Final = 12 * HOUR_MS
OUTCOME_MS: Final = 60 * DAY_MS
BACK_MS: Final = 14 * DAY_MS
SHED_MS: Final = 14 * DAY_MS
"""From dull eyes to the shed skin, at most; and the least between two shed skins."""
HANDLED_MINUTES: Final = 240.0
BODY_BEFORE_MS: Final = 90 * DAY_MS
BODY_AFTER_MS: Final = 30 * DAY_MS

_SLIPS: Final = (
    (10.0, "a nought or the point"),
    (100.0, "two noughts or the point"),
    (1000.0, "g for kg"),
    (28.349523125, "oz for g"),
    (453.59237, "lb for g"),
)
"""How far off the usual slips are."""
_WIDTH_SLIPS: Final = ((10.0, "mm for cm"), (25.4, "in for mm"), (2.54, "in for cm"))
_LOOKED_AT: Final = 12
"""As many neighbours are looked at on either side, so that long books cost no more."""
_NEAR: Final = 1.3
"""A slip is named when the rest differs by less than this factor."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """A question about one field of a record, as the files name it."""

    field: str
    why: str
    rule: str = ""
    """Names the question where it may be asked in other words about the same thing."""


@dataclass(frozen=True, slots=True)
class Saying:
    """How amounts and times are said in a doubt."""

    mass: Callable[[float], str] = lambda value: f"{value:g} g"
    width: Callable[[float], str] = lambda value: f"{value:g} mm"
    length: Callable[[float], str] = lambda value: f"{value:g} cm"
    temperature: Callable[[float], str] = lambda value: f"{value:g} °C"
    when: Callable[[int], str] = lambda at_ms: rfc3339.written(at_ms, UTC)


@dataclass(slots=True)
class Around:
    """What the book has of one animal, each list by time."""

    stays: list[Stay] = field(default_factory=list)
    meals: list[Meal] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    handlings: list[Handling] = field(default_factory=list)
    sheds: list[Shed] = field(default_factory=list)


def doubts(record: Record, around: Around, saying: Saying | None = None) -> list[Doubt]:
    """Everything about a record that is worth a question; most entries have none.

    `around` is of the record's animal; it may hold the record itself (known by its key).
    """
    saying = saying if saying is not None else Saying()
    match record:
        case Weighing():
            return list(_of_weighing(record, around, saying))
        case Meal():
            return list(_of_meal(record, around, saying))
        case Handling():
            return list(_of_handling(record, around))
        case Shed():
            return list(_of_shed(record, around, saying))
        case _:
            return []


# ---- weighings ------------------------------------------------------------------------------


def _of_weighing(new: Weighing, around: Around, saying: Saying) -> Iterator[Doubt]:
    place = bisect_left(around.weighings, new.at_ms, key=lambda one: one.at_ms)
    near_by = around.weighings[max(0, place - _LOOKED_AT) : place + _LOOKED_AT]
    others = [one for one in near_by if one.at_ms != new.at_ms]
    for name, say, slips in (
        ("mass_g", saying.mass, _SLIPS),
        ("length_cm", saying.length, _WIDTH_SLIPS),
        ("midbody_mm", saying.width, _WIDTH_SLIPS),
    ):
        value = getattr(new, name)
        if value is None:
            continue
        near = _neighbours(new.at_ms, others, name)
        if not near or any(_alike(name, new.at_ms, value, *other) for other in near):
            continue
        at_ms, known = near[0]
        slip = _slip(value / known, slips)
        yield Doubt(
            name,
            f"{say(value)} is {_times(value / known)} the {say(known)} of {saying.when(at_ms)}"
            + (f": {slip}?" if slip else ""),
        )


def _neighbours(at_ms: int, others: list[Weighing], name: str) -> list[tuple[int, float]]:
    """Three of them within a year, two before where there are: all must differ for a doubt."""
    place = bisect_left(others, at_ms, key=lambda one: one.at_ms)
    before = [_value(one, name) for one in reversed(others[max(0, place - _LOOKED_AT) : place])]
    after = [_value(one, name) for one in others[place : place + _LOOKED_AT]]
    known = [one for one in before if one is not None][:2]
    known += [one for one in after if one is not None][: 3 - len(known)]
    return [one for one in known if abs(one[0] - at_ms) <= 365 * DAY_MS]


def _value(one: Weighing, name: str) -> tuple[int, float] | None:
    value = getattr(one, name)
    return None if not value else (one.at_ms, value)


def _alike(name: str, at_ms: int, value: float, then_ms: int, known: float) -> bool:
    later, earlier = (value, known) if at_ms > then_ms else (known, value)
    soon = abs(at_ms - then_ms) <= LIKE_DAYS * DAY_MS
    if name == "length_cm":
        return SHRUNK_FACTOR <= later / earlier <= (LENGTH_FACTOR if soon else YEAR_FACTOR)
    factor = LIKE_FACTOR if soon else YEAR_FACTOR
    if name == "mass_g" and soon and earlier < YOUNG_G:
        factor = LIKE_FACTOR_YOUNG
    return max(value, known) <= factor * min(value, known)


# ---- meals ----------------------------------------------------------------------------------


def _of_meal(new: Meal, around: Around, saying: Saying) -> Iterator[Doubt]:
    at_ms = _eaten_ms(new)
    yield from _of_times(new)
    place = bisect_left(around.meals, at_ms, key=_eaten_ms)
    near = around.meals[max(0, place - _LOOKED_AT) : place + _LOOKED_AT]
    others = [one for one in near if not _same_meal(one, new)]
    if new.outcome is not Outcome.REFUSED:
        yield from _of_neighbours(new, at_ms, others, saying)
        yield from _of_size(new, at_ms, around, saying)
        yield from _in_shed(at_ms, around, saying)
    yield from _of_prey(new, at_ms, others, saying)
    if not any(s.since_ms <= at_ms and (s.until_ms is None or at_ms < s.until_ms)
               for s in around.stays):  # fmt: skip
        yield Doubt("animal", f"{new.animal} was in no enclosure then, as far as the book knows")


def _eaten_ms(meal: Meal) -> int:
    """By what the book orders meals: when it was taken, or else offered."""
    return meal.taken_at_ms if meal.taken_at_ms is not None else meal.offered_at_ms or 0


def _same_meal(one: Meal, new: Meal) -> bool:
    return one.meal == new.meal if new.meal else meal_time_ms(one) == meal_time_ms(new)


def _of_times(new: Meal) -> Iterator[Doubt]:
    taken, offered, ended = new.taken_at_ms, new.offered_at_ms, new.outcome_at_ms
    if taken is not None and offered is not None and taken - offered > TAKEN_MS:
        yield Doubt("taken_at", f"taken {_long(taken - offered)} after it was offered")
    lay_ms = (new.removed_at_ms or 0) - offered if new.removed_at_ms and offered else 0
    if lay_ms > TAKEN_MS:
        yield Doubt("removed_at", f"taken away {_long(lay_ms)} after the offer")
    if taken is None or ended is None or new.outcome is None:
        return
    if new.outcome.came_back and ended - taken > BACK_MS:
        yield Doubt("outcome_at", f"came back {_long(ended - taken)} after it was taken")
    elif ended - taken > OUTCOME_MS:
        yield Doubt("outcome_at", f"{_long(ended - taken)} after the meal was taken")


def _of_neighbours(
    new: Meal, at_ms: int, others: Iterable[Meal], saying: Saying
) -> Iterator[Doubt]:
    for one in others:
        then_ms = _eaten_ms(one)
        if one.outcome is not Outcome.REFUSED and abs(then_ms - at_ms) < MEALS_APART_MS:
            did = "taken" if one.taken_at_ms is not None else "offered"
            number = f"meal {one.meal}" if one.meal else "another meal"
            yield Doubt(
                "taken_at" if new.taken_at_ms is not None else "offered_at",
                f"{number} was {did} {_long(abs(then_ms - at_ms))} "
                f"{'before' if then_ms <= at_ms else 'after'}, {saying.when(then_ms)}",
                "another meal",
            )
            return


def _of_size(new: Meal, at_ms: int, around: Around, saying: Saying) -> Iterator[Doubt]:
    body, whole = _body(around.weighings, at_ms, "mass_g"), new.mass_g
    if body is not None and whole is not None and whole > MEAL_SHARE * body:
        slip = _slip(whole / (0.12 * body), _SLIPS[:3])
        yield Doubt(
            "prey_mass_g",
            f"a meal of {saying.mass(whole)} is {100 * whole / body:.0f} % of the body "
            f"({saying.mass(body)})" + (f": {slip}?" if slip else ""),
        )
    wide = _body(around.weighings, at_ms, "midbody_mm")
    own = new.prey_width_mm
    if wide is not None and own is not None and own > WIDTH_FACTOR * wide:
        yield Doubt(
            "prey_width_mm",
            f"{saying.width(own)} wide is {_times(own / wide)} the snake at mid-body "
            f"({saying.width(wide)})",
        )


def _of_prey(new: Meal, at_ms: int, others: list[Meal], saying: Saying) -> Iterator[Doubt]:
    count, surface = new.prey_count, new.prey_surface_c
    if count is not None and count > MOST_PREY:
        yield Doubt("prey_count", f"{count} prey items in one meal")
    if surface is not None and not COLD_PREY_C <= surface <= HOT_PREY_C:
        yield Doubt("prey_surface_c", f"a surface of {saying.temperature(surface)}: °C or °F?")
    if new.prey is None or new.prey_mass_g is None:
        return
    like = [
        one.prey_mass_g
        for one in others
        if one.prey == new.prey and one.prey_mass_g and (meal_time_ms(one) or 0) < at_ms
    ]
    last = like[-2:]
    if last and all(_apart(new.prey_mass_g, one) > PREY_FACTOR for one in last):
        slip = _slip(new.prey_mass_g / last[-1], _SLIPS)
        yield Doubt(
            "prey_mass_g",
            f"{saying.mass(new.prey_mass_g)} is {_times(new.prey_mass_g / last[-1])} the last "
            f"{new.prey} ({saying.mass(last[-1])})" + (f": {slip}?" if slip else ""),
        )


def _body(weighings: list[Weighing], at_ms: int, name: str) -> float | None:
    """The last one within 90 days before, else the first within 30 days after."""
    place = bisect_left(weighings, at_ms + 1, key=lambda one: one.at_ms)
    for one in reversed(weighings[max(0, place - _LOOKED_AT) : place]):
        if getattr(one, name) is not None and at_ms - one.at_ms <= BODY_BEFORE_MS:
            return float(getattr(one, name))
    for one in weighings[place : place + _LOOKED_AT]:
        if getattr(one, name) is not None and one.at_ms - at_ms <= BODY_AFTER_MS:
            return float(getattr(one, name))
    return None


# ---- handling and sheds ---------------------------------------------------------------------


def _of_handling(new: Handling, around: Around) -> Iterator[Doubt]:
    if new.minutes is None:
        return
    start = bisect_left(around.handlings, new.at_ms - DAY_MS + 1, key=lambda one: one.at_ms)
    end = bisect_left(around.handlings, new.at_ms + 1, key=lambda one: one.at_ms)
    near = around.handlings[start:end]
    total = new.minutes + sum(one.minutes or 0 for one in near if one.at_ms != new.at_ms)
    if total > HANDLED_MINUTES:
        yield Doubt("minutes", f"that makes {total // 60:.0f} h of handling within 24 h")


def _in_shed(at_ms: int, around: Around, saying: Saying) -> Iterator[Doubt]:
    end = bisect_left(around.sheds, at_ms + 1, key=lambda one: one.at_ms)
    last = around.sheds[end - 1] if end else None
    if last is not None and last.stage is ShedStage.IN_SHED and at_ms - last.at_ms <= SHED_MS:
        yield Doubt("animal", f"in shed since {saying.when(last.at_ms)}, and no skin found yet")


def _of_shed(new: Shed, around: Around, saying: Saying) -> Iterator[Doubt]:
    if new.stage is not ShedStage.SHED:
        return
    place = bisect_left(around.sheds, new.at_ms, key=lambda one: one.at_ms)
    for one in around.sheds[max(0, place - _LOOKED_AT) : place + _LOOKED_AT]:
        near = abs(one.at_ms - new.at_ms) < SHED_MS
        if near and one.at_ms != new.at_ms and one.stage is ShedStage.SHED:
            yield Doubt("time", f"a shed skin was found on {saying.when(one.at_ms)} already")
            return


# ---- words ----------------------------------------------------------------------------------


def _apart(one: float, other: float) -> float:
    return max(one, other) / min(one, other)


def _slip(ratio: float, slips: Iterable[tuple[float, str]]) -> str | None:
    """Which usual slip explains a ratio, in either direction; the nearest that does."""
    apart = max(ratio, 1 / ratio)
    rest, words = min((_apart(apart, factor), words) for factor, words in slips)
    return words if rest < _NEAR else None


def _times(ratio: float) -> str:
    if ratio >= 1:
        return f"{ratio:.0f} times" if ratio >= 9.5 else f"{ratio:.1f} times"
    return f"one {1 / ratio:.0f}th of" if ratio < 1 / 3.5 else f"{100 * ratio:.0f} % of"


def _long(span_ms: int) -> str:
    """A span in whole hours or days that have passed."""
    hours = span_ms // HOUR_MS
    if hours < 1:
        return f"{span_ms // 60_000} min"
    return f"{hours} h" if hours < 96 else f"{hours // 24} days"
