"""One request's view of the home. Open it in a plain (not async) endpoint:

    @router.get("/meal/{number}")
    def meal(request: Request, number: int) -> Response:
        with looking(request) as home:
            record = home.book.meal(number)
            return show(request, "meal.html", home, record=record)

An endpoint that is not async has a thread to itself, and the book is used from that thread alone.
The readings are shared by all requests.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from fastapi import Request

from analysis.page.parts import Parts, parts_of
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.states import Alarm
from collector.book.book import Book
from collector.store.reader import Reader
from config.care import CareProfile
from config.home import Home
from config.settings import Settings

WHO = "page"
"""Who a change made here is written down as."""


@dataclass(frozen=True, slots=True)
class Looking:
    """The home as one request sees it. `now_ms` is the same moment throughout."""

    parts: Parts
    book: Book
    now_ms: int

    @property
    def home(self) -> Home:
        """Its paths."""
        return self.parts.home

    @property
    def settings(self) -> Settings:
        """Its settings."""
        return self.parts.settings

    @property
    def care(self) -> CareProfile:
        """The care profile in force."""
        return self.parts.care

    @property
    def reader(self) -> Reader:
        """Its readings."""
        return self.parts.reader

    @property
    def zone(self) -> ZoneInfo:
        """Its time zone."""
        return self.settings.zone

    def alarms(self) -> list[Alarm]:
        """Every alarm that was ever raised, as it stands, the most urgent first."""
        if not self.home.alarms.exists():
            return []
        with AlarmStore(self.home.alarms) as store:
            found = list(store.alarms().values())
        return sorted(found, key=lambda one: (-one.priority, one.raised_ms or 0))

    def open_alarms(self) -> list[Alarm]:
        """Those that stand or wait for an answer."""
        return [one for one in self.alarms() if one.shown_state != "normal"]


@contextmanager
def looking(request: Request) -> Iterator[Looking]:
    """The home, open for reading."""
    parts = parts_of(request)
    with Book(parts.home.book, read_only=True, zone=parts.settings.zone) as book:
        yield Looking(parts, book, parts.now_ms())


@contextmanager
def writing(request: Request) -> Iterator[Looking]:
    """The home with a book that can be written in. Only in an endpoint that is not a GET."""
    parts = parts_of(request)
    with Book(parts.home.book, who=WHO, now_ms=parts.now_ms, zone=parts.settings.zone) as book:
        yield Looking(parts, book, parts.now_ms())
