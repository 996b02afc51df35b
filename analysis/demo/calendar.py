"""The demo's calendar: days counted back from now, in the keeper's time zone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from analysis.demo.collection import ZONE

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Calendar:
    """The stretch of time that is told: `days` days that end at `now_ms` (UTC)."""

    now_ms: int
    days: int

    @property
    def start_ms(self) -> int:
        """Where it begins."""
        return self.now_ms - self.days * DAY_MS

    @property
    def today(self) -> date:
        """The keeper's day now."""
        return datetime.fromtimestamp(self.now_ms / 1000, ZONE).date()

    def at(self, days_ago: int, hour: float) -> int:
        """UTC ms of a clock time (0 to 24) on the keeper's day so many days ago."""
        day = self.today - timedelta(days=days_ago)
        minutes = round(hour * 60)
        clock = time(minutes // 60 % 24, minutes % 60)
        moment = datetime.combine(day + timedelta(days=minutes // 1440), clock, ZONE)
        return round(moment.timestamp()) * 1000

    def days_ago(self, at_ms: int) -> float:
        """How long before now that was, in days."""
        return (self.now_ms - at_ms) / DAY_MS

    def scaled(self, days_ago: float) -> float:
        """Where a thing of 400 days lies in a shorter stretch; nothing scripted is too fresh."""
        return max(5.0, days_ago * self.days / 400)
