"""Where one installation keeps its things: everything lies under one directory, the home."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from config.errors import NotSo


@dataclass(frozen=True, slots=True)
class Home:
    """The paths of one installation. Making one of these touches no file."""

    folder: Path

    @property
    def settings(self) -> Path:
        """The settings file, written by `warmcoil init`."""
        return self.folder / "warmcoil.toml"

    @property
    def book(self) -> Path:
        """The record book (SQLite)."""
        return self.folder / "book.db"

    @property
    def readings(self) -> Path:
        """The folder of the readings: journal and archive."""
        return self.folder / "readings"

    @property
    def journal(self) -> Path:
        """The journal of the readings (SQLite, in time order)."""
        return self.readings / "journal.db"

    @property
    def archive(self) -> Path:
        """The packed archive of the readings (SQLite)."""
        return self.readings / "archive.db"

    @property
    def alarms(self) -> Path:
        """Alarm states, their transitions and the messages still to be delivered (SQLite)."""
        return self.folder / "alarms.db"

    @property
    def collector_state(self) -> Path:
        """What the collector counts and drops (JSON), rewritten once a minute at most."""
        return self.folder / "collector.json"

    @property
    def haste(self) -> Path:
        """Until when the collector is asked to commit faster."""
        return self.folder / "haste"

    @property
    def backups(self) -> Path:
        """The nightly backups."""
        return self.folder / "backups"

    def must_exist(self) -> Home:
        """Return this home, or raise NotSo when `warmcoil init` was never run here."""
        if not self.settings.is_file():
            raise NotSo(
                f"{self.folder}: no Warmcoil home here; make one with: "
                f"warmcoil init --home {self.folder}"
            )
        return self
