"""Quiet hours: at night only the urgent is told; the rest waits for the morning. Pure.

The hours are the home's own. A night in which the clocks change is as long as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from analysis.watch.outbox import Urgency
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of day to another one, over midnight where the second is the smaller."""

    begins: time
    ends: time
    zone: ZoneInfo

    def hold(self, urgency: Urgency, now_ms: int) -> int | None:
        """Until when (UTC ms) a message made now is held; None: it is not."""
        if urgency is Urgency.HIGH:
            return None
        return self.until_ms(now_ms)

    def until_ms(self, now_ms: int) -> int | None:
        """When the quiet hours that it is now in end; None outside of them."""
        local = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(self.zone)
        over_midnight = self.ends <= self.begins
        for day in (local.date() - timedelta(days=1), local.date()):
            begin = datetime.combine(day, self.begins, self.zone)
            end = datetime.combine(day + timedelta(days=over_midnight), self.ends, self.zone)
            # Compared as moments: between times of one zone Python compares the clock's face.
            if begin.timestamp() * 1000 <= now_ms < end.timestamp() * 1000:
                return round(end.timestamp() * 1000)
        return None


def quiet_hours(settings: Settings) -> QuietHours | None:
    """The quiet hours of a home; None where there are none."""
    watch = settings.watch
    if watch.quiet_from is None or watch.quiet_to is None:
        return None
    return QuietHours(watch.quiet_from, watch.quiet_to, settings.zone)
