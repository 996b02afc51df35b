"""`warmcoil check`: is the home whole? Faults, and notes on what is merely incomplete."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from analysis.card import MOUNTS, wear_note
from analysis.watch.alarm_check import check_alarms
from collector.book.check import check_book
from collector.readings import Quantity
from collector.store.archive import ArchiveDown
from collector.store.check import check as check_store
from collector.store.check import check_journal
from collector.store.opening import open_reader
from collector.store.reader import Reader
from config.home import Home
from config.settings import Settings

_DAY_MS = 86_400_000
_LOOK_BACK_DAYS = 30


@dataclass(slots=True)
class Found:
    """What a check found: `faults` need mending, `notes` only want to be known.

    `mendable`: some of the faults are of the store, which `warmcoil repair` mends.
    """

    faults: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    mendable: bool = False
    away: bool = False
    """The only fault: the server that keeps the archive. It says itself what to do."""

    def how_to_mend(self, home: Home) -> str:
        """The command that mends; empty where none does."""
        if self.away:
            return ""
        return f"warmcoil repair --home {home.folder}" if self.mendable else "warmcoil restore"


def check_home(home: Home, settings: Settings) -> Found:
    """Check store, book and alarms of a home. Changes nothing."""
    found = Found()
    if MOUNTS.exists() and (note := wear_note(home.folder, MOUNTS.read_text("utf-8", "replace"))):
        found.notes.append(note)
    kept_here = settings.archive.kind == "sqlite"
    found.faults += (
        check_store(home.journal, home.archive) if kept_here else check_journal(home.journal)
    )
    found.mendable = bool(found.faults)
    found.faults += check_book(home.book)
    found.faults += check_alarms(home.alarms)
    if not found.faults:
        try:
            with open_reader(home, settings) as reader:
                found.notes += _series_notes(reader, settings)
        except ArchiveDown as fault:
            found.faults.append(str(fault))
            found.away = True
    return found


def _series_notes(reader: Reader, settings: Settings) -> list[str]:
    """One line a series: how many readings, how many flagged and how long unknown lately."""
    gap_ms = settings.review.gap_minutes * 60_000
    notes = []
    for key, span in sorted(reader.series().items(), key=lambda s: (s[0].probe, s[0].quantity)):
        if key.quantity is Quantity.VOLTAGE:
            continue
        since_ms = max(span.first_ms, span.last_ms - _LOOK_BACK_DAYS * _DAY_MS)
        columns = reader.columns(key, since_ms, span.last_ms + 1)
        times = [at for at, flag in zip(columns.at_ms, columns.flags, strict=True) if not flag]
        gaps = [b - a for a, b in pairwise(times) if b - a > gap_ms]
        flagged = len(columns) - len(times)
        days = (span.last_ms - since_ms) / _DAY_MS
        thinned = f" and {span.thinned} kept by the hour" if span.thinned else ""
        notes.append(
            f"{key.probe} {key.quantity}: {span.count} readings{thinned}; in its last "
            f"{days:.0f} days {len(gaps)} gaps ({sum(gaps) / 3_600_000:.1f} h unknown), "
            f"{flagged} flagged"
        )
    return notes
