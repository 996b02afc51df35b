"""A home with everything in it that a screen can show, as of now, behind a pass phrase."""

from __future__ import annotations

import time
from pathlib import Path

from analysis.page.access.passphrase import PassphraseFile
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Transition
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Calibrated,
    Enclosure,
    Meal,
    Placement,
    Shed,
    ShedStage,
    Stay,
    Zone,
)
from config.home import Home
from tests.analysis.page.homes import DAY, HOUR, NOW, make_home

PHRASE = "four warm sleeping coils"
LONG = "the long bench under the window of the north room"
UNBROKEN = "Tigerstripe-of-the-seven-hills-and-valleys"
"""Names that a narrow screen has to break."""
OPEN_ALARM = AlarmKey(Kind.WARM_SIDE_LOW, "left shelf")


def furnish(folder: Path) -> Home:
    """The home: two alarms that wait for an answer, prey that lies there, an open outcome."""
    now_ms = time.time_ns() // 1_000_000
    home = make_home(folder, later_ms=now_ms - NOW)
    PassphraseFile(home.folder).set(PHRASE)
    with Book(home.book, now_ms=lambda: now_ms) as book:
        book.put(Enclosure(LONG, room="the back room behind the kitchen", notes="by hand, " * 20))
        book.put(Animal(UNBROKEN, species="Boa imperator", sex="male"))
        book.put(Stay(UNBROKEN, LONG, now_ms - 90 * DAY))
        book.put(Placement("urn:dev:ow:28ff641f43b2c110", LONG, Zone.WARM_SIDE, now_ms - 90 * DAY))
        book.put(Meal(0, "Ondo", offered_at_ms=now_ms - 20 * HOUR, prey="mouse"))
        book.put(Meal(0, UNBROKEN, taken_at_ms=now_ms - 20 * DAY, prey="rabbit", prey_mass_g=900.0))
        book.put(Calibrated("warm", now_ms - 2 * HOUR, 0.25, 0.0, 0.07))
        book.put(Shed(UNBROKEN, now_ms - 40 * DAY, stage=ShedStage.SHED))
    with AlarmStore(home.alarms) as store:
        changes = [Transition(Cause.RAISED, now_ms, State.NORMAL, one) for one in alarms(now_ms)]
        store.record(changes, [], [], now_ms)
    return home


def alarms(now_ms: int) -> list[Alarm]:
    """One that stands, one that is over and was not answered, one that was acknowledged."""

    def alarm(key: AlarmKey, state: State, priority: Priority, hours: int) -> Alarm:
        since_ms = now_ms - hours * HOUR
        return Alarm(key, state, priority, since_ms=since_ms, raised_ms=since_ms, lowest=24.12)

    silent = AlarmKey(Kind.NO_READINGS, LONG, "urn:dev:ow:28ff641f43b2c110")
    return [
        alarm(OPEN_ALARM, State.UNACKNOWLEDGED, Priority.HIGH, 2),
        alarm(AlarmKey(Kind.HUMIDITY_LOW, "left shelf"), State.RETURNED, Priority.LOW, 30),
        alarm(silent, State.ACKNOWLEDGED, Priority.MEDIUM, 5),
    ]
