"""The weekly message: that the watch is there, and what it watches. Light.

A keeper who hears nothing for a year cannot know whether all is well or the watch is dead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from analysis.watch.alarm_store import AlarmStore, PastTransition
from analysis.watch.jobs_kept import Note
from analysis.watch.roster import Roster, RosterReader
from analysis.watch.states import DAY_MS, Alarm, Cause
from analysis.words import local_day, local_time, plain
from collector.readings import Reading, SeriesKey
from collector.store.reader import Reader
from config.home import Home
from config.settings import Settings

_WEEK_MS = 7 * DAY_MS
_MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class Week:
    """What the message counts. `open_alarms` are in words; `raised` within the last seven days."""

    enclosures: int
    probes: int
    meals_in_window: int
    raised: int
    open_alarms: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    last_backup_ms: int | None = None

    @property
    def well(self) -> bool:
        """True when no alarm is open and every placed probe reports."""
        return not self.open_alarms and not self.silent and self.probes > 0


def week_of(
    roster: Roster | None,
    latest: Mapping[SeriesKey, Reading],
    alarms: Iterable[Alarm],
    past: Sequence[PastTransition],
    *,
    fresh_ms: int,
    now_ms: int,
    last_backup_ms: int | None = None,
) -> Week:
    """The counts at `now_ms`; a probe reports when it has a usable reading within `fresh_ms`."""
    placed = roster.placed_at(now_ms) if roster is not None else []
    fresh = {
        key.probe
        for key, reading in latest.items()
        if reading.usable and now_ms - reading.at_ms <= fresh_ms
    }
    digesting = roster.digesting.values() if roster is not None else []
    meals = {(d.animal, d.taken_ms) for several in digesting for d in several if d.at(now_ms)}
    raised = [t for t in past if t.cause is Cause.RAISED and t.told and t.at_ms <= now_ms]
    probes = sorted({p.probe for p in placed})
    return Week(
        enclosures=len({p.enclosure for p in placed}),
        probes=len(probes),
        meals_in_window=len(meals),
        raised=len(raised),
        open_alarms=tuple(_words(one) for one in alarms if one.shown_state != "normal"),
        silent=tuple(plain(probe) for probe in probes if probe not in fresh),
        last_backup_ms=last_backup_ms,
    )


def weekly_note(week: Week, settings: Settings, now_ms: int) -> Note:
    """The message. The same week (ISO 8601, the home's zone) is told once."""
    day = datetime.fromtimestamp(now_ms // 1000, UTC).astimezone(settings.zone)
    year, number, _ = day.isocalendar()
    title = f"{_title(week)}, {local_day(now_ms, settings.zone)}"
    return Note("week", f"{year}-{number}", title, tuple(_lines(week, settings)))


def all_well_of(
    home: Home,
    settings: Settings,
    *,
    store: AlarmStore,
    reader: Reader,
    rosters: RosterReader,
    fresh_ms: int,
) -> Callable[[int], Note]:
    """The week's message of a running watch, at a time (UTC ms)."""

    def told(now_ms: int) -> Note:
        week = week_of(
            rosters.roster(now_ms),
            reader.latest(),
            store.alarms().values(),
            store.transitions(now_ms - _WEEK_MS),
            fresh_ms=fresh_ms,
            now_ms=now_ms,
            last_backup_ms=last_backup_ms(home.backups),
        )
        return weekly_note(week, settings, now_ms)

    return told


def last_backup_ms(folder: Path) -> int | None:
    """When the newest backup in the folder was written; None when there is none."""
    times = [one.stat().st_mtime_ns for one in folder.glob("warmcoil-*.tar")]
    return max(times) // 1_000_000 if times else None


def _title(week: Week) -> str:
    if week.well:
        return "All well"
    if week.open_alarms:
        return f"{_count(len(week.open_alarms), 'alarm')} open"
    if not week.probes:
        return "Nothing is watched"
    return f"{len(week.silent)} of {_count(week.probes, 'probe')} silent"


def _lines(week: Week, settings: Settings) -> list[str]:
    reporting = f"{week.probes - len(week.silent)} of {_count(week.probes, 'probe')} reporting"
    theirs = "its window" if week.meals_in_window == 1 else "their window"
    lines = [
        f"{_count(week.enclosures, 'enclosure')}; {reporting}.",
        f"{_count(week.meals_in_window, 'meal')} in {theirs}.",
        f"{_count(week.raised, 'alarm')} in the last seven days.",
    ]
    if week.open_alarms:
        lines.append(f"Open: {_some(week.open_alarms)}. See: warmcoil alarms")
    if week.silent:
        lines.append(f"Silent: {_some(week.silent)}.")
    backup = local_time(week.last_backup_ms, settings.zone) if week.last_backup_ms else "none"
    lines.append(f"Last backup: {backup}.")
    return lines


def _words(alarm: Alarm) -> str:
    where = f" in {plain(alarm.key.enclosure)}" if alarm.key.enclosure else ""
    return f"{alarm.key.kind}{where}"


def _some(words: Sequence[str]) -> str:
    more = len(words) - _MOST_NAMED
    return ", ".join(words[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _count(number: int, of: str) -> str:
    return f"1 {of}" if number == 1 else f"{number} {of}s"
