"""Meals of invented animals, in a real book and a real archive, ready to be drawn."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from analysis.gathering import Gathered
from analysis.review import Review, gather, review
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Handling,
    Meal,
    Outcome,
    Placement,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity, Reading
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.settings import Settings

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR
START = 1_772_573_940_000  # 2026-03-03T21:39:00Z
CARE = load_care_profile("boa-constrictor")
SETTINGS = Settings(time_zone="Europe/Lisbon")  # its clocks change on 29 March 2026

Course = Callable[[float], float | None]
"""A temperature in °C by the hour since the meal; None where nothing was read."""

ZONES = {"warm": Zone.WARM_SIDE, "cool": Zone.COOL_SIDE, "room": Zone.ROOM}


@dataclass(frozen=True)
class Drawn:
    """One meal, ready to be drawn."""

    review: Review
    gathered: Gathered


@dataclass(frozen=True)
class Scene:
    """What happened. Times are hours since the meal."""

    courses: dict[str, Course]
    now_h: float
    animal: str = "Maren"
    prey: str | None = "rat"
    prey_g: float | None = 220.0
    body_g: float | None = 700.0
    outcome: Outcome | None = None
    outcome_h: float | None = None
    handled_h: tuple[float, ...] = ()
    start_ms: int = START
    every_minutes: float = 2.0
    settings: Settings = field(default=SETTINGS)


def day_and_night(mean: float, swing: float, seed: int = 1, noise: float = 0.08) -> Course:
    """Warmest in the afternoon, coldest before dawn, with a thermostat's and a probe's restlessness
    on it. The meal was taken at 21:39."""
    rng = random.Random(seed)

    def course(hour: float) -> float:
        clock = hour + 21.65
        slow = swing * math.cos((clock - 15) / 24 * 2 * math.pi)
        return mean + slow + 0.25 * math.sin(hour * 2 * math.pi / 0.7) + rng.gauss(0, noise)

    return course


def falling(course: Course, start_h: float, end_h: float, to_c: float, tau_h: float) -> Course:
    """The course, with no heat from `start_h` to `end_h`: towards `to_c`, and back as fast."""
    fallen = {"by": 0.0}

    def with_fall(hour: float) -> float | None:
        value = course(hour)
        if value is None:
            return None
        full = value - to_c
        if start_h <= hour < end_h:
            fallen["by"] = full * (1 - math.exp(-(hour - start_h) / tau_h))
            return value - fallen["by"]
        if hour >= end_h:
            return value - fallen["by"] * math.exp(-(hour - end_h) / (tau_h / 3))
        return value

    return with_fall


def silent(course: Course, *spans: tuple[float, float]) -> Course:
    """The course without readings in those spans."""
    return lambda hour: None if any(a <= hour < b for a, b in spans) else course(hour)


def draw_scene(scene: Scene, folder: Path) -> Drawn:
    """Write the scene into a book and an archive in `folder`, gather it and judge it."""
    now_ms = scene.start_ms + round(scene.now_h * HOUR)
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        archive.write(Columns.of(_readings(scene)))
    with (
        Book(folder / "book.db", now_ms=lambda: now_ms) as book,
        Reader(folder / "journal.db", folder / "archive.db") as reader,
    ):
        _write(scene, book)
        gathered = gather(book.meal(1), book, reader, CARE, scene.settings, now_ms)
        return Drawn(review(gathered, CARE, scene.settings), gathered)


def _readings(scene: Scene) -> Iterable[Reading]:
    step_h = scene.every_minutes / 60
    count = math.ceil((scene.now_h + 0.1) / step_h)
    for probe, course in scene.courses.items():
        for i in range(-2, count):
            value = course(i * step_h)
            if value is not None:
                at_ms = scene.start_ms + round(i * step_h * HOUR)
                yield Reading(probe, Quantity.TEMPERATURE, at_ms, round(value * 16) / 16)


def _write(scene: Scene, book: Book) -> None:
    start, name = scene.start_ms, scene.animal
    book.put(Enclosure("left shelf", room="back room"))
    book.put(Animal(name, species="Boa constrictor"))
    book.put(Stay(name, "left shelf", start - 99 * DAY))
    for probe in scene.courses:
        book.put(Placement(probe, "left shelf", ZONES[probe], start - 99 * DAY))
    if scene.body_g is not None:
        book.put(Weighing(name, start - 5 * DAY, mass_g=scene.body_g))
    for hour in scene.handled_h:
        book.put(Handling(name, start + round(hour * HOUR), 10, "moved"))
    book.put(
        Meal(
            0,
            name,
            taken_at_ms=start,
            prey=scene.prey,
            prey_mass_g=scene.prey_g,
            outcome=scene.outcome,
            outcome_at_ms=None
            if scene.outcome_h is None
            else start + round(scene.outcome_h * HOUR),
        )
    )


def good_meal() -> Scene:
    """All as it should be; kept, and passed on day 9."""
    return Scene(
        {"warm": day_and_night(31.2, 0.5), "cool": day_and_night(25.6, 0.9, 2)},
        now_h=12 * 24.0, outcome=Outcome.PASSED, outcome_h=8.4 * 24,
    )  # fmt: skip


def cold_night() -> Scene:
    """The heat gone for one night, a room probe, handled once."""
    warm = falling(day_and_night(31.0, 0.6), 29.0, 39.0, 19.0, 7.0)
    return Scene(
        {
            "warm": warm,
            "cool": falling(day_and_night(25.6, 0.9, 2), 29.0, 39.0, 18.5, 5.0),
            "room": day_and_night(20.5, 1.6, 3),
        },
        now_h=12 * 24.0, outcome=Outcome.KEPT, outcome_h=7 * 24.0, handled_h=(62.0,),
    )  # fmt: skip


def heater_failure() -> Scene:
    """The heater fails, and the power with it for a while: a gap within the fall."""
    warm = falling(day_and_night(31.0, 0.6), 50.0, 74.0, 18.0, 6.0)
    return Scene(
        {
            "warm": silent(warm, (54.0, 61.0), (120.0, 120.6)),
            "cool": silent(day_and_night(25.0, 0.9, 2), (54.0, 61.0)),
        },
        now_h=12 * 24.0,
    )  # fmt: skip


def too_hot() -> Scene:
    """A thermostat that sticks: hot for an afternoon."""
    warm = falling(day_and_night(31.5, 0.6), 64.0, 69.0, 44.0, 3.0)
    return Scene({"warm": warm, "cool": day_and_night(26.5, 1.0, 2)}, now_h=12 * 24.0,
                 outcome=Outcome.KEPT)  # fmt: skip


def ongoing() -> Scene:
    """Day 4 of about 8, without a probe on the cool side."""
    return Scene({"warm": falling(day_and_night(30.5, 0.7), 55, 60, 24, 6)}, now_h=80.0)


def came_back() -> Scene:
    """Cold from the second night on; back up after 41 h, handled three times."""
    warm = falling(day_and_night(30.5, 0.7), 22.0, 60.0, 19.0, 9.0)
    return Scene(
        {"warm": warm, "cool": falling(day_and_night(25.0, 0.9, 2), 22.0, 60.0, 18.0, 6.0)},
        now_h=60.0, outcome=Outcome.REGURGITATED, outcome_h=41.3, handled_h=(10.0, 11.0, 30.0),
    )  # fmt: skip


SCENES: dict[str, Callable[[], Scene]] = {
    "good-meal": good_meal,
    "cold-night": cold_night,
    "heater-failure": heater_failure,
    "too-hot": too_hot,
    "ongoing": ongoing,
    "came-back": came_back,
}


def odd(**changes: object) -> Scene:
    """Fourteen days from 5 to 45 °C, handled again and again, under a name hard to set."""
    scene = Scene(
        {
            "warm": silent(day_and_night(25.0, 19.5, noise=0.2), (100, 101), (200, 230)),
            "cool": day_and_night(20.0, 12.0, 2),
            "room": day_and_night(17.0, 11.0, 3),
        },
        now_h=20 * 24.0,
        animal="Sir $x_1$ \N{SNAKE} <b>שלום</b> & the very long name, "
        "Supercalifragilisticexpialidociousandsomemorewithoutanyspace",
        prey="hopping \N{RABBIT FACE} rabbit $kit$",
        prey_g=650.0,
        outcome=Outcome.PASSED,
        outcome_h=13.6 * 24,
        handled_h=(1.0, 30.0, 31.0, 32.0, 150.0, 300.0, 320.0),
    )
    return replace(scene, **changes)  # type: ignore[arg-type]


def unknown() -> Scene:
    """Nothing known: no probe at all, no prey, no mass."""
    return Scene({}, now_h=50.0, prey=None, prey_g=None, body_g=None)


SCENES |= {"odd": odd, "unknown": unknown}
