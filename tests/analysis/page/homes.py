"""A small real home for the page's tests: a real book and a real archive, two animals, three meals.

The meal of the cold night is number 2: below the floor for ten hours of its second night, handled
once, with a gap; the last one is being digested.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Handling,
    Meal,
    Outcome,
    Placement,
    PreyState,
    Shed,
    ShedStage,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity, Reading
from collector.store.columns import Columns
from collector.store.sqlite_archive import SqliteArchive
from config.home import Home

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR
FIRST = 1_772_573_940_000  # 2026-03-03T21:39:00Z
SECOND = FIRST + 12 * DAY
THIRD = FIRST + 26 * DAY
NOW = THIRD + 4 * DAY - 4 * MINUTE
"""The moment at which the home is looked at, a minute after the last reading."""
BY_HAND = FIRST - 5 * DAY
EVERY_MS = 5 * MINUTE
SETTINGS = """\
time_zone = "Europe/Lisbon"

[[probe]]
id = "warm"
name = "left shelf, warm side"
sensor = "DS18B20"
"""


def make_home(
    folder: Path, *, name: str = "Maren", settings: str = SETTINGS, later_ms: int = 0
) -> Home:
    """The home. `name` is the first animal's, for names that would like to be script.

    `later_ms` moves everything: by the time since NOW, for a process that goes by the clock.
    """
    home = Home(folder)
    home.readings.mkdir(parents=True)
    home.settings.write_text(settings, encoding="utf-8")
    with closing(SqliteArchive(home.archive)) as archive:
        archive.write(Columns.of(_readings(later_ms)))
    with Book(home.book, now_ms=lambda: NOW + later_ms) as book:
        write_book(book, name, later_ms)
    return home


def write_book(book: Book, name: str, later_ms: int = 0) -> None:
    """Enclosures, animals, placements, meals and what happened beside them."""
    by_hand, first, second, third = (at + later_ms for at in (BY_HAND, FIRST, SECOND, THIRD))
    book.put(Enclosure("left shelf", room="back room", notes="by the window"))
    book.put(Enclosure("right shelf", room="back room"))
    for animal, where in ((name, "left shelf"), ("Ondo", "right shelf")):
        book.put(Animal(animal, species="Boa constrictor", sex="female"))
        book.put(Stay(animal, where, by_hand))
        book.put(Weighing(animal, by_hand, mass_g=900.0, midbody_mm=42.0))
    places = {"warm": Zone.WARM_SIDE, "cool": Zone.COOL_SIDE, "room": Zone.ROOM}
    for probe, zone in places.items():
        book.put(Placement(probe, "left shelf", zone, by_hand))
    book.put(_meal(name, first, Outcome.PASSED, first + 9 * DAY))
    book.put(_meal(name, second, Outcome.REGURGITATED, second + 3 * DAY))
    book.put(_meal(name, third))
    book.put(Handling(name, second + 2 * DAY, 10, "cleaning"))
    book.put(Shed(name, second + 2 * DAY + HOUR, stage=ShedStage.IN_SHED))


def _meal(name: str, at_ms: int, outcome: Outcome | None = None, end_ms: int | None = None) -> Meal:
    return Meal(
        0, name, offered_at_ms=at_ms - 5 * MINUTE, taken_at_ms=at_ms,
        prey="rat", prey_count=1, prey_mass_g=180.0, prey_state=PreyState.THAWED,
        outcome=outcome, outcome_at_ms=end_ms,
    )  # fmt: skip


def _readings(later_ms: int) -> Iterable[Reading]:
    means = {"warm": 31.2, "cool": 25.6, "room": 20.5}
    for at_ms in range(FIRST - HOUR, NOW, EVERY_MS):
        if 0 <= at_ms - (SECOND + 2 * DAY) < 3 * HOUR:
            continue  # a gap
        for probe, mean in means.items():
            swing = 0.4 * math.cos((at_ms - FIRST) / DAY * 2 * math.pi)
            value = mean + swing - _cold_night(at_ms) * (mean - 19.0)
            yield Reading(probe, Quantity.TEMPERATURE, at_ms + later_ms, round(value * 16) / 16)
        damp = 62.0 + 8.0 * math.sin((at_ms - FIRST) / DAY * 2 * math.pi)
        yield Reading("cool", Quantity.HUMIDITY, at_ms + later_ms, round(damp, 1))


def _cold_night(at_ms: int) -> float:
    """The share of its warmth that is gone."""
    start_ms, end_ms = SECOND + DAY, SECOND + DAY + 10 * HOUR
    if at_ms < start_ms:
        return 0.0
    fallen = 1 - math.exp(-(min(at_ms, end_ms) - start_ms) / (6 * HOUR))
    return fallen if at_ms < end_ms else fallen * math.exp(-(at_ms - end_ms) / (2 * HOUR))
