"""Invented records for hypothesis: every one could stand in a book at NOW."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from hypothesis import strategies as st

from collector.book.book import Book
from collector.book.records import (
    Animal,
    Calibrated,
    Dropping,
    Enclosure,
    FedIn,
    Handling,
    Look,
    Meal,
    Neck,
    Outcome,
    Placement,
    PreyState,
    Record,
    Ribs,
    Shed,
    ShedStage,
    Signs,
    Skin,
    Spine,
    Stay,
    Tail,
    Urate,
    Vent,
    Weighing,
    Zone,
)
from collector.book.rules import EARLIEST_MS, LOOKED_AT
from config.errors import BadEntry

NOW = 1_700_000_000_000
"""2023-11-14T22:13:20Z."""
HOUR = 3_600_000
DAY = 24 * HOUR

_seen = st.characters(exclude_categories=("C", "Z"))
names = st.one_of(
    st.sampled_from(["Juno", "=Pip", 'say "hi"', "a, b", "+1", "@home", "-", "x  y", "ß→ä"]),
    st.text(_seen, min_size=1, max_size=8),
)
texts = st.none() | st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=30)
times = st.one_of(
    st.integers(EARLIEST_MS, NOW + DAY),
    st.integers(NOW // 1000 - 400 * 86_400, NOW // 1000).map(lambda s: s * 1000),
    st.integers(0, 8).map(lambda n: NOW - n * HOUR),  # near one another
)


def amounts(low: float, high: float) -> st.SearchStrategy[float | None]:
    """Unknown, or any number within."""
    return st.none() | st.floats(low, high, exclude_min=low == 0)


days = st.none() | st.dates(date(1900, 1, 1), datetime.fromtimestamp(NOW / 1000, UTC).date())
enclosures = st.builds(Enclosure, names, texts, texts)
animals = st.builds(Animal, names, texts, texts, days)


def weighings(name: st.SearchStrategy[str]) -> st.SearchStrategy[Weighing]:
    """Weighings at which something was measured."""
    rows = st.builds(Weighing, name, times, amounts(0, 1e5), amounts(0, 2000), amounts(0, 1000))
    return rows.filter(lambda w: (w.mass_g, w.length_cm, w.midbody_mm) != (None, None, None))


def handlings(name: st.SearchStrategy[str]) -> st.SearchStrategy[Handling]:
    """Handlings."""
    return st.builds(Handling, name, times, st.none() | st.floats(0, 1440), texts)


def sheds(name: st.SearchStrategy[str]) -> st.SearchStrategy[Shed]:
    """Sheds."""
    return st.builds(Shed, name, times, texts, st.sampled_from(ShedStage))


def looks(name: st.SearchStrategy[str]) -> st.SearchStrategy[Look]:
    """Looks at which something was seen."""
    parts = [st.none() | st.sampled_from(part) for part in (Spine, Ribs, Skin, Tail, Vent, Neck)]
    rows = st.builds(Look, name, times, *parts, texts)
    return rows.filter(lambda look: any(getattr(look, part) is not None for part in LOOKED_AT))


def droppings(name: st.SearchStrategy[str]) -> st.SearchStrategy[Dropping]:
    """Droppings."""
    urate, signs = st.none() | st.sampled_from(Urate), st.none() | st.sampled_from(Signs)
    return st.builds(Dropping, name, times, urate, signs, texts)


@st.composite
def calibrations(draw: st.DrawFn) -> Calibrated:
    """Calibrations at one point or two, of few probes."""
    probe = draw(st.sampled_from(["p1", "p2"]))
    true, off, sure = draw(st.floats(-20, 50)), draw(st.floats(-4, 4)), draw(st.floats(0.01, 2))
    one = Calibrated(probe, draw(times), true + off, true, sure, notes=draw(texts))
    if draw(st.booleans()):
        return one
    return replace(
        one,
        second_read_c=true + 30 - off,
        second_true_c=true + 30,
        second_uncertainty_c=draw(st.floats(0.01, 2)),
    )


def stays(
    animal: st.SearchStrategy[str], enclosure: st.SearchStrategy[str]
) -> st.SearchStrategy[Stay]:
    """Stays as they are written: without an end."""
    return st.builds(Stay, animal, enclosure, times)


@st.composite
def placements(draw: st.DrawFn, enclosure: st.SearchStrategy[str]) -> Placement:
    """Placements of few probes, so that they meet."""
    since, until = draw(times), draw(st.none() | times)
    probe = draw(st.sampled_from(["p1", "p2", "urn:dev:ow:28ff641f43b2c1d0"]))
    zone = draw(st.sampled_from(Zone))
    later = until if until is not None and until > since else None
    return Placement(probe, draw(enclosure), zone, since, later)


@st.composite
def meals(draw: st.DrawFn, animal: st.SearchStrategy[str]) -> Meal:
    """Meals of every life: offered, taken, refused, come back, unknown."""
    first, second, third = sorted(draw(st.tuples(times, times, times)))
    outcome = draw(st.none() | st.sampled_from(Outcome))
    refused = outcome is Outcome.REFUSED
    offered_only = refused or draw(st.booleans())
    offered = first if offered_only or draw(st.booleans()) else None
    return Meal(
        meal=0,
        animal=draw(animal),
        offered_at_ms=offered,
        taken_at_ms=None if offered_only else second,
        removed_at_ms=draw(st.none() | st.just(third)),
        prey=draw(texts),
        prey_count=draw(st.none() | st.integers(1, 1000)),
        prey_mass_g=draw(amounts(0, 1e5)),
        prey_width_mm=draw(amounts(0, 1000)),
        prey_surface_c=draw(st.none() | st.floats(0, 60)),
        prey_state=draw(st.none() | st.sampled_from(PreyState)),
        fed_in=draw(st.none() | st.sampled_from(FedIn)),
        outcome=outcome,
        outcome_at_ms=third if outcome and draw(st.booleans()) else None,
        notes=draw(texts),
        signs=draw(st.none() | st.sampled_from(Signs)),
    )


@st.composite
def books(draw: st.DrawFn) -> list[Record]:
    """Records in an order in which they can be put; some clash, and are left out by `fill`."""
    tubs = draw(st.lists(enclosures, min_size=1, max_size=3, unique_by=lambda e: e.enclosure))
    snakes = draw(st.lists(animals, min_size=1, max_size=3, unique_by=lambda a: a.animal))
    tub, snake = (
        st.sampled_from([e.enclosure for e in tubs]),
        st.sampled_from([a.animal for a in snakes]),
    )
    parts: list[st.SearchStrategy[Record]] = [
        stays(snake, tub),
        placements(tub),
        meals(snake),
        weighings(snake),
        handlings(snake),
        sheds(snake),
        looks(snake),
        droppings(snake),
        calibrations(),
    ]
    rest = draw(st.lists(st.one_of(parts), max_size=12))
    return [*tubs, *snakes, *rest]


def fill(book: Book, records: list[Record]) -> None:
    """Put what does not clash with what is there."""
    for record in records:
        try:
            book.put(record)
        except BadEntry:
            continue
