"""One animal, told: what it is, what to feed it next, its condition, its weights, what was seen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from markupsafe import Markup

from analysis import condition_words, next_words
from analysis.ages import months_old
from analysis.as_of import meals_as_of, records_as_of
from analysis.body_look import score
from analysis.condition import Condition, conditions_of_book
from analysis.feeding import next_meals_of_book
from analysis.figures.weights_svg import weights_svg
from analysis.in_shed import in_shed
from analysis.next_meal import NextMeal
from analysis.page.looking import Looking
from analysis.page.ribbons import two_widths
from analysis.vet import vet_text
from analysis.weights import Weight, weights
from analysis.words import age, count, local_time, mass, plain, years_or_months
from collector.book.records import Animal, Dropping, Look, Shed, ShedStage, Signs, Stay, Urate

_MOST_SEEN = 200


@dataclass(frozen=True, slots=True)
class Seen:
    """Something that was seen of an animal: when (UTC ms), what it was called, what it said."""

    at_ms: int
    what: str
    notes: str


@dataclass(frozen=True, slots=True)
class Lived:
    """A stay: where, in which room, since when and until when (None: still)."""

    enclosure: str
    room: str | None
    since_ms: int
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class AnimalTold:
    """What the screen of one animal says, but for its meals."""

    record: Animal
    kind: str
    """ "Boa constrictor, female, 4 years old"; empty where nothing of it is known."""
    vet: list[str]
    """Why to see a vet, each with its source."""
    caution: str
    proposal: str
    rules: list[str]
    state: str
    condition: list[str]
    chart: Markup
    weighed: int
    fed_when_weighed: int
    shed: str
    seen: list[Seen]
    unseen: int
    """How many more things were seen than are listed."""
    lives: Lived | None
    lived: list[Lived]
    """Where it lives now and where before, the newest first."""


def animal_told(record: Animal, home: Looking) -> AnimalTold:
    """The animal told."""
    name, book, settings, now_ms = record.animal, home.book, home.settings, home.now_ms
    (condition,) = conditions_of_book(book, home.care, settings, now_ms, name, reader=home.reader)
    (following,) = next_meals_of_book(book, home.reader, home.care, settings, now_ms, animal=name)
    weighed = weights(
        records_as_of(book.weighings(name), now_ms),
        meals_as_of(book.meals(name), now_ms),
        home.care,
        now_ms,
    )
    seen = _seen(name, home)
    lived = _lived(book.stays(name), home)
    return AnimalTold(
        record=record,
        kind=kind_words(record, home),
        vet=_vet(condition),
        caution=condition_words.CAUTION,
        proposal=next_words.proposal(following, settings),
        rules=_rules(following, home),
        state=condition_words.state_words(condition, settings),
        condition=_condition(condition, home),
        chart=_chart(name, weighed, home),
        weighed=len(weighed),
        fed_when_weighed=sum(one.fed for one in weighed),
        shed=_shed_words(name, home),
        seen=seen[:_MOST_SEEN],
        unseen=max(0, len(seen) - _MOST_SEEN),
        lives=next((one for one in lived if _covers(one, now_ms)), None),
        lived=lived,
    )


def kind_words(record: Animal, home: Looking) -> str:
    """Species, sex and age, as far as they are known."""
    months = months_old(record, home.now_ms, home.zone)
    parts = (
        plain(record.species or ""),
        plain(record.sex or ""),
        years_or_months(months) if months is not None else "",
    )
    return ", ".join(part for part in parts if part)


# ---- words -----------------------------------------------------------------------------------


def _rules(following: NextMeal, home: Looking) -> list[str]:
    """What stands behind the proposal. What is for a vet has a place of its own."""
    _, *lines = next_words.sentences(following, home.settings)
    return _without_vet(lines)


def _condition(condition: Condition, home: Looking) -> list[str]:
    _, *lines = condition_words.sentences(condition, home.settings)
    return _without_vet(lines)


def _vet(condition: Condition) -> list[str]:
    lost = [f"{sign.says} ({sign.basis})" for sign in condition.signs if sign.kind == "vet"]
    return [vet_text(sign) for sign in condition.vet] + lost


def _without_vet(lines: list[str]) -> list[str]:
    return [
        line
        for line in lines
        if not line.startswith("See a vet: ") and line != condition_words.CAUTION
    ]


def _shed_words(name: str, home: Looking) -> str:
    """Whether it is in shed, and when it shed last."""
    sheds = records_as_of(home.book.sheds(name), home.now_ms)
    now = in_shed(sheds, home.care, home.now_ms)
    skins = [one.at_ms for one in sheds if one.stage is ShedStage.SHED]
    if now is not None:
        text = f"In shed since {local_time(now.since_ms, home.zone)}"
        return f"{text}, longer than a shed takes: has it shed?" if now.ask else f"{text}."
    if not skins:
        return "No shed of it is in the book."
    ago = age((home.now_ms - skins[-1]) / 1000)
    before = f" ({count(len(skins))} skins in the book)" if len(skins) > 1 else ""
    return f"It shed last on {local_time(skins[-1], home.zone)}, {ago}{before}."


def _seen(name: str, home: Looking) -> list[Seen]:
    """Sheds, looks and droppings in one list, the newest first."""
    book = home.book
    every = chain(
        (_of_shed(one) for one in book.sheds(name)),
        (_of_look(one) for one in book.looks(name)),
        (_of_dropping(one) for one in book.droppings(name)),
    )
    return sorted(every, key=lambda one: one.at_ms, reverse=True)


def _of_shed(one: Shed) -> Seen:
    what = "in shed" if one.stage is ShedStage.IN_SHED else "old skin found"
    return Seen(one.at_ms, what, plain(one.notes or ""))


def _of_look(one: Look) -> Seen:
    state, because = score(one)
    says = "a look, which says nothing either way" if state == "not known" else f"looked {state}"
    parts = f": {', '.join(because)}" if because else ""
    return Seen(one.at_ms, f"{says}{parts}", plain(one.notes or ""))


def _of_dropping(one: Dropping) -> Seen:
    urate = {Urate.WHITE: "with white urate", Urate.MISSING: "without the white urate"}
    parts = [urate[one.urate]] if one.urate is not None else []
    if one.signs is not None and one.signs is not Signs.NONE:
        parts.append(f"{one.signs} in them")
    return Seen(one.at_ms, ", ".join(["droppings", *parts]), plain(one.notes or ""))


# ---- where it lives --------------------------------------------------------------------------


def _lived(stays: Sequence[Stay], home: Looking) -> list[Lived]:
    rooms = {one.enclosure: one.room for one in home.book.enclosures()}
    return [
        Lived(one.enclosure, rooms.get(one.enclosure), one.since_ms, one.until_ms)
        for one in reversed(stays)
    ]


def _covers(one: Lived, at_ms: int) -> bool:
    return one.since_ms <= at_ms and (one.until_ms is None or at_ms < one.until_ms)


# ---- weights ---------------------------------------------------------------------------------


def _chart(name: str, weighed: Sequence[Weight], home: Looking) -> Markup:
    """The chart, for a wide and for a narrow screen; empty without a weighing."""
    if not weighed:
        return Markup()
    sentence = ", ".join(_chart_words(name, weighed, home))
    wide, narrow = (
        weights_svg(weighed, home.settings, sentence, width=width, height=height)
        for width, height in ((860, 220), (350, 200))
    )
    return two_widths(wide, narrow)


def _chart_words(name: str, weighed: Sequence[Weight], home: Looking) -> Iterator[str]:
    many = f"{count(len(weighed))} weighings" if len(weighed) != 1 else "one weighing"
    yield f"{plain(name)}: {many}"
    ends = (weighed[0], weighed[-1]) if len(weighed) > 1 else (weighed[-1],)
    yield " to ".join(
        f"{mass(one.mass_g, home.settings)} on {local_time(one.at_ms, home.zone)}" for one in ends
    )
