"""Two buckets of an InfluxDB as one archive: the first may let go of what is old, the second does
not, and holds the hours of all days and the readings that stay raw for ever.

Nothing can be deleted through the calls that both versions have; so what thins is the retention of
the first bucket, and what must last is copied before (`analysis.lasting`). A reading that the first
refuses for being too old goes to the second, and each is given once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from collector.readings import SeriesKey
from collector.store.archive import Span, Written
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import HOUR_MS, Hour, merged
from collector.store.influx_archive import ROWS_AT_ONCE, InfluxArchive
from collector.store.influx_hours import MEASUREMENT as HOURS
from collector.store.influx_hours import hour_lines, hours_in
from collector.store.influx_text import END_MS, FIRST_MS, lines_of, tables_of, times_ms
from config.errors import StoreFault

if TYPE_CHECKING:
    from config.settings import Archive as ArchiveSettings


class LastingArchive(InfluxArchive):
    """An `Archive` on a server, in `bucket` and `lasting_bucket`."""

    def __init__(self, settings: ArchiveSettings, *, rows_at_once: int = ROWS_AT_ONCE) -> None:
        """Nothing is asked of the server yet. Raises BadSettings."""
        super().__init__(settings, rows_at_once=rows_at_once)
        bucket = settings.lasting_bucket
        self.lasting = InfluxArchive(
            settings.model_copy(update={"bucket": bucket}), rows_at_once=rows_at_once
        )
        """The second bucket alone."""

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """See `Archive.write`."""
        written, refused, _ = self.take(batch)
        if refused:
            late = self.lasting.write(refused)
            written.new += late.new
            written.known += late.known
            written.differing += late.differing
        return written

    def series(self) -> dict[SeriesKey, Span]:
        """See `Archive.series`."""
        spans, lasting = super().series(), self.lasting.series()
        hours = self.lasting.of_each_series("first()", "_time", "readings", HOURS)
        for key in lasting.keys() | hours.keys():
            own, kept = spans.get(key), lasting.get(key)
            # From its own first reading on the first bucket has everything.
            until_ms = END_MS if own is None else own.first_ms
            hours_until_ms = until_ms // HOUR_MS * HOUR_MS
            begun = times_ms([hours[key]]) if key in hours else []
            firsts = [at_ms for at_ms in begun if at_ms < hours_until_ms]
            firsts += [kept.first_ms] if kept is not None and kept.first_ms < until_ms else []
            if firsts:
                lasts = [one.last_ms for one in (own, kept) if one is not None]
                older = self.lasting.count(key, FIRST_MS, until_ms)
                spans[key] = Span(
                    older + (own.count if own is not None else 0),
                    min(firsts),
                    max(lasts, default=min(firsts)),
                    max(0, self._by_hour(key, hours_until_ms) - older),
                )
        return spans

    def last_times(self, since_ms: int = FIRST_MS) -> dict[SeriesKey, int]:
        """See `InfluxArchive.last_times`."""
        found, lasting = super().last_times(since_ms), self.lasting.last_times(since_ms)
        return {
            key: max(found.get(key, FIRST_MS), lasting.get(key, FIRST_MS))
            for key in found.keys() | lasting.keys()
        }

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """See `Archive.columns`."""
        return self.of_first(key, start_ms, end_ms).merged(
            self.lasting.columns(key, start_ms, end_ms)
        )

    def of_first(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The same from the first bucket alone."""
        return super().columns(key, start_ms, end_ms)

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:
        """The hours that begin in [start_ms, end_ms), in order."""
        start_ms, end_ms = max(start_ms, FIRST_MS), min(end_ms, END_MS)
        if start_ms >= end_ms:
            return []
        return hours_in(self.lasting.rows(key, start_ms, end_ms, HOURS))

    def keep(self, key: SeriesKey, columns: Columns) -> None:
        """Copy readings into the second bucket. Raises ArchiveDown, and StoreFault when they are
        not there afterwards."""
        if not columns:
            return
        span = columns.at_ms[0], columns.at_ms[-1] + 1
        fresh = columns.without(self.lasting.columns(key, *span))
        self.lasting.send(lines_of(key, fresh))
        if columns.without(self.lasting.columns(key, *span)):
            raise self._not_there(key, "readings")

    def write_hours(self, key: SeriesKey, hours: Sequence[Hour]) -> None:
        """Keep hours, in order, merged with those that are there. Raises ArchiveDown, and
        StoreFault when they are not there afterwards."""
        if not hours:
            return
        span = hours[0].start_ms, hours[-1].start_ms + 1
        whole = merged(self.hours(key, *span), hours)
        self.lasting.send(hour_lines(key, whole))
        if self.hours(key, *span) != whole:
            raise self._not_there(key, "hours")

    def close(self) -> None:
        """Let go of the connections."""
        super().close()
        self.lasting.close()

    def _not_there(self, key: SeriesKey, what: str) -> StoreFault:
        return StoreFault(
            f"{self.name}: {what} of {key.probe} {key.quantity} were written and are not there; "
            "has the lasting bucket no retention?"
        )

    def _by_hour(self, key: SeriesKey, until_ms: int) -> int:
        """How many readings the hours had that begin before a moment."""
        counts = '|> filter(fn: (r) => r._field == "readings" or r._field == "flagged") |> sum() '
        answer = self.lasting.rows(key, FIRST_MS, until_ms, HOURS, counts)
        return sum(int(text) for rows in tables_of(answer) for text in rows["_value"])


def day_counts(archive: InfluxArchive, key: SeriesKey) -> Counter[int]:
    """How many readings a bucket has of a series on each UTC day that has any."""
    counts: Counter[int] = Counter()
    for rows in tables_of(archive.counted_by_day(key)):
        for at_ms, count in zip(times_ms(rows["_time"]), rows["_value"], strict=True):
            counts[at_ms // DAY_MS] += int(count)
    return counts
