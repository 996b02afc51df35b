"""A keeper at the command line: the real commands in this process, with a clock of one's own."""

from __future__ import annotations

import io
import sqlite3
import sys
from contextlib import closing, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import typer

from analysis.cli import common, main
from collector.book.book import Book
from config.home import Home

ZONE = ZoneInfo("Europe/Lisbon")


_command = cache(typer.main.get_command)


def at(text: str, zone: ZoneInfo = ZONE) -> int:
    """UTC ms of a local time, read by the standard library."""
    return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp() * 1000)


@dataclass
class Keeper:
    """Types commands at a home; `now_ms` is what the clock says."""

    folder: Path
    monkeypatch: pytest.MonkeyPatch
    now_ms: int = at("2026-03-03 20:31:00")
    said: str = ""
    settings: str = 'time_zone = "Europe/Lisbon"\n'
    words: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.folder.mkdir(exist_ok=True)
        self.set(self.settings)
        self.monkeypatch.setattr(common, "now_ms", lambda: self.now_ms)
        # The commands are built once, not for each that is typed: that is most of their time.
        self.monkeypatch.setattr(typer.main, "get_command", _command)
        self.monkeypatch.setattr(sys, "stdin", io.StringIO())
        self.monkeypatch.setenv("WARMCOIL_WHO", "Ines")

    def set(self, settings: str) -> None:
        """Write the settings."""
        (self.folder / "warmcoil.toml").write_text(settings, encoding="utf-8")

    def types(self, *words: str) -> int:
        """One command; what it said is in `said`. Returns the exit code."""
        out, errors = io.StringIO(), io.StringIO()
        argv = ["warmcoil", *words, "--home", str(self.folder)]
        with self.monkeypatch.context() as patch, redirect_stdout(out), redirect_stderr(errors):
            patch.setattr(sys, "argv", argv)
            code = main()
        self.said = out.getvalue() if code == 0 else errors.getvalue()
        assert (out if code else errors).getvalue() == "", (words, out, errors)
        return code

    def does(self, line: str, *more: str) -> str:
        """A command that must go well, its words parted by spaces; what it said."""
        assert self.types(*line.split(), *more) == 0, self.said
        return self.said

    def fails(self, line: str, *more: str, code: int = 2) -> str:
        """A command that must be refused in one line and change nothing; the line."""
        before = self.dump()
        assert self.types(*line.split(), *more) == code, self.said
        assert self.said.count("\n") == 1
        assert self.said.startswith("warmcoil: ")
        assert self.dump() == before
        return self.said.removeprefix("warmcoil: ").rstrip("\n")

    def book(self) -> Book:
        """The book, to look into."""
        return Book(Home(self.folder).book, read_only=True)

    def dump(self) -> list[str]:
        """Everything in the book's file."""
        path = Home(self.folder).book
        if not path.exists():
            return []
        with closing(sqlite3.connect(path)) as db:
            return [line for line in db.iterdump() if line.startswith("INSERT")]


@pytest.fixture
def keeper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Keeper:
    """A home with one enclosure and one animal in it."""
    one = Keeper(tmp_path / "home", monkeypatch)
    one.does("new enclosure shelf")
    one.does("new animal Ombra --born 2023-05-01 --in shelf --since 2024-01-01")
    return one
