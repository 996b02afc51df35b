"""What every command shares: finding the home, opening its files, reading times."""

from __future__ import annotations

import getpass
import json
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from collector.book.book import Book
from collector.store.opening import open_reader
from config.care import CareProfile, load_care_profile
from config.errors import Unusable
from config.home import Home
from config.settings import Settings, load_settings

HomeOption = Annotated[
    Path | None,
    typer.Option(
        "--home",
        envvar="WARMCOIL_HOME",
        metavar="DIR",
        help="The home: the directory that holds settings, book and readings.",
    ),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON document and nothing else.")
]
AnimalOption = Annotated[
    str | None, typer.Option("--animal", metavar="A", help="Only this animal.")
]
NowOption = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="Answer as of this moment instead of now."),
]


def home_at(folder: Path | None) -> Home:
    """The home named on the command line or in WARMCOIL_HOME; it must exist."""
    return bare_home(folder).must_exist()


def bare_home(folder: Path | None) -> Home:
    """The home named on the command line or in WARMCOIL_HOME, whether it exists or not."""
    if folder is None:
        raise Unusable("which home? give --home DIR, or set WARMCOIL_HOME")
    return Home(folder.expanduser())


def now_ms() -> int:
    """The wall clock, UTC in ms."""
    return time.time_ns() // 1_000_000


def who() -> str:
    """Who writes in the book: WARMCOIL_WHO, or else the login name."""
    named = os.environ.get("WARMCOIL_WHO", "").strip()
    if named:
        return named[:128]
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # an account without a name
        return "command line"


class Opened:
    """One home with its files open for reading."""

    def __init__(self, folder: Path | None) -> None:
        self.home = home_at(folder)
        self.settings: Settings = load_settings(self.home)
        self.book = Book(self.home.book, read_only=True)
        self.reader = open_reader(self.home, self.settings)

    @property
    def care(self) -> CareProfile:
        """The care profile in force."""
        return load_care_profile(self.settings.care.profile, self.home.folder / "care")

    def moment_ms(self, at: str | None) -> int:
        """The moment of `--at`, or now."""
        asked = moment_ms(at, self.settings.zone, "--at")
        return now_ms() if asked is None else asked

    def close(self) -> None:
        """Close the files."""
        self.book.close()
        self.reader.close()


@contextmanager
def opened(folder: Path | None) -> Iterator[Opened]:
    """A home's files, open for reading, closed at the end."""
    home = Opened(folder)
    try:
        yield home
    finally:
        home.close()


def moment_ms(text: str | None, zone: ZoneInfo, name: str) -> int | None:
    """A time from the command line in UTC ms: RFC 3339, or local time or day in the home's zone."""
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Unusable(
            f"{name} {text!r} is not a time; write 2026-03-01, 2026-03-01T20:30 or "
            "2026-03-01T20:30:00+01:00"
        ) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=zone)
    return round(at.timestamp() * 1000)


def day_end_ms(text: str | None, zone: ZoneInfo, name: str) -> int | None:
    """Like `moment_ms`; a bare day means its end, so that `--to` a day includes that day."""
    if text is None:
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        return moment_ms(text, zone, name)
    after = datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=zone)
    return round(after.timestamp() * 1000)


def print_json(document: Any) -> None:
    """One JSON document on standard output. NaN never gets this far: it would not be JSON."""
    typer.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def print_json_list(objects: Iterable[object]) -> None:
    """One JSON document, a list, an object a line: written as they come, never held as a whole."""
    before = "[\n"
    for one in objects:
        typer.echo(before + json.dumps(one, ensure_ascii=False, allow_nan=False), nl=False)
        before = ",\n"
    typer.echo("\n]" if before[0] == "," else "[]")
