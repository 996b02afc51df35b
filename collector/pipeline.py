"""The way of a reading: frame → decoded → calibrated → flagged → journal.

It is handed everything and builds nothing. What it drops it counts, by source and reason. A
journal that cannot be written costs nothing at first: readings wait in memory, up to a bound, and
no message is acknowledged meanwhile, so a broker keeps its own.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Mapping

from collector.backoff import Backoff
from collector.batch import Batch, Entry
from collector.clock import DAY_MS, RELEASED_MS, Clock, Stamps
from collector.corrections import Corrections
from collector.counts import Counts
from collector.deliveries import Deliveries, Ticket
from collector.frame import Frame
from collector.haste import Pace
from collector.held import Held, HeldFrame
from collector.measured import Decoded, Measured
from collector.newcomers import Newcomers
from collector.plausible import Judge
from collector.readings import Reading, SeriesKey
from collector.store.journal import Journal, Receipt
from config.errors import BadPayload, StoreFault

log = logging.getLogger("collector")

Decoder = Callable[[Frame, int], Decoded]
"""Makes measurements of a frame; the number is the UTC ms of its arrival, as far as known."""

COMMIT_AT_UNACKNOWLEDGED = 16
"""Messages. mosquitto sends 20 at most before it waits for acknowledgements (its default without
MQTT 5), and they are only sent after a commit: so commit while there is still room in flight."""


class Pipeline:
    """Takes frames, one thread, and commits what they hold in time."""

    def __init__(
        self,
        *,
        decoders: Mapping[str, Decoder],
        corrections: Corrections,
        judge: Judge,
        journal: Journal,
        clock: Clock,
        counts: Counts,
        deliveries: Deliveries,
        pace: Pace,
        newcomers: Newcomers,
        most_readings: int,
        retry: Backoff,
    ) -> None:
        self._decoders = decoders
        self._corrections = corrections
        self._judge = judge
        self._journal = journal
        self._clock = clock
        self._counts = counts
        self._deliveries = deliveries
        self._pace = pace
        self._newcomers = newcomers
        self._retry = retry
        self._stamps = Stamps()
        self._most_readings = most_readings
        self._batch = Batch(most_readings)
        self._held = Held(most_readings)
        self._commit_at_s: float | None = None
        self._called_s = clock.monotonic()
        self.fault: str | None = None

    @property
    def uncommitted(self) -> int:
        """Readings in memory that the journal does not have yet."""
        return len(self._batch)

    @property
    def held(self) -> int:
        """Readings that wait for a clock that can be believed."""
        return len(self._held)

    @property
    def full(self) -> bool:
        """True when no frame should be taken: there is no room, and nothing may be dropped."""
        return self._batch.full or self._held.full

    # ---- taking ------------------------------------------------------------------------------

    def take(self, frame: Frame) -> None:
        """Decode one frame and put its readings in the batch; `tick` commits it."""
        self._counts.frame(frame.source)
        if frame.delivery and self._deliveries.again(frame.source, frame.delivery):
            self._counts.drop(frame.source, "delivered again")
            return
        ticket = self._deliveries.open(frame.source, frame.delivery) if frame.delivery else None
        measured = self._decoded(frame)
        if not measured:
            self._done(ticket)
        elif self._clock.sure() or all(one.at_ms is not None for one in measured):
            self._keep(frame, measured, ticket)
        else:
            self._hold(HeldFrame(frame, measured, ticket))

    def _decoded(self, frame: Frame) -> list[Measured]:
        # A board that woke in 1970 has no room before now for what was measured a minute ago;
        # what counts is how long ago, and the arrival is dated later.
        arrived_ms = max(self._clock.ms_at(frame.arrived_s), RELEASED_MS)
        try:
            decoded = self._decoders[frame.source](frame, arrived_ms)
        except BadPayload as fault:
            where = f"{frame.label}: " if frame.label else ""
            self._counts.drop(frame.source, "unreadable", f"{where}{fault}")
            return []
        for ignored in decoded.ignored:
            self._counts.drop(frame.source, ignored.reason, ignored.detail, about=ignored.about)
        if not frame.stale:
            return decoded.measured
        timed = [one for one in decoded.measured if one.at_ms is not None]
        if old := len(decoded.measured) - len(timed):
            self._counts.drop(frame.source, "retained, without a time", frame.label, old)
        return timed

    def _keep(self, frame: Frame, measured: list[Measured], ticket: Ticket | None) -> None:
        arrived_ms = self._clock.ms_at(frame.arrived_s)
        measured = [one for one in measured if self._is_admitted(frame, one)]
        readings = [self._reading(one, arrived_ms) for one in measured]
        if self._clock.sure():
            readings = self._not_from_the_future(frame, readings)
        if not readings:
            self._done(ticket)
            return
        readings = [one.flagged(self._judge.flags(one)) for one in readings]
        untimed = any(one.at_ms is None for one in measured)
        receipt = (
            Receipt(frame.source, frame.delivery.mid, frame.delivery.digest)
            if frame.delivery and untimed
            else None
        )
        self._counts.kept(frame.source, len(readings))
        for gone in self._batch.add(Entry(frame.source, readings, ticket, receipt)):
            self._counts.drop(gone.source, "store full", times=len(gone.readings))
        if self._commit_at_s is None:
            self._commit_at_s = self._clock.monotonic() + self._pace.seconds()

    def _is_admitted(self, frame: Frame, one: Measured) -> bool:
        admitted = self._newcomers.admits(SeriesKey(one.probe, one.quantity))
        if not admitted:
            self._counts.drop(frame.source, "too many new probes", one.probe)
        return admitted

    def _reading(self, one: Measured, arrived_ms: int) -> Reading:
        key = SeriesKey(one.probe, one.quantity)
        at_ms = one.at_ms
        if at_ms is None:
            at_ms = self._stamps.stamp(key, arrived_ms + one.offset_ms)
        correction = self._corrections.of(key)
        return Reading(one.probe, one.quantity, at_ms, one.raw, correction)

    def _not_from_the_future(self, frame: Frame, readings: list[Reading]) -> list[Reading]:
        latest_ms = self._clock.now_ms() + DAY_MS
        kept = [reading for reading in readings if reading.at_ms <= latest_ms]
        if gone := len(readings) - len(kept):
            self._counts.drop(frame.source, "from the future", frame.label, gone)
        return kept

    def _done(self, ticket: Ticket | None) -> None:
        if ticket is not None:
            ticket.done = True
            self._deliveries.settle()

    # ---- while the clock is in doubt ---------------------------------------------------------

    def _hold(self, held: HeldFrame) -> None:
        if not len(self._held):
            log.warning("the clock is not to be believed yet: readings without a time are held")
        for gone in self._held.add(held):
            self._counts.drop(gone.frame.source, "held too long", times=len(gone.measured))

    def _release(self) -> None:
        log.warning("the clock is right: %d readings that were held are stamped", len(self._held))
        for held in self._held.take_all():
            self._keep(held.frame, held.measured, held.ticket)

    # ---- committing --------------------------------------------------------------------------

    def tick(self) -> None:
        """Do what is due now."""
        if len(self._held) and self._clock.sure():
            self._release()
        now_s, pace_s = self._clock.monotonic(), self._pace.seconds()
        if self._commit_at_s is not None and self.fault is None:
            self._commit_at_s = min(self._commit_at_s, now_s + pace_s)  # asked to hasten meanwhile
        quiet_s = now_s - self._called_s
        # A quiet journal is called all the same: it has the last commit still to sync. One that
        # was busy until a moment ago may have many, of which the oldest cannot wait so long.
        quiet = not len(self._batch) and quiet_s >= self._pace.usual_s
        if self.wait_s() <= 0.0 or quiet or (self.fault is None and self._journal.sync_due()):
            self.commit()

    def wait_s(self) -> float:
        """Seconds until `tick` has something to commit; at most 1."""
        if self._commit_at_s is None:
            return 1.0
        # While frames are held, what came after them waits for them, not for a commit.
        waiting = self._batch.deliveries if len(self._held) else len(self._deliveries)
        half_full = 2 * len(self._batch) >= self._most_readings
        if self.fault is None and (waiting >= COMMIT_AT_UNACKNOWLEDGED or half_full):
            return 0.0
        return min(1.0, max(0.0, self._commit_at_s - self._clock.monotonic()))

    def commit(self) -> bool:
        """Write the batch to the journal, then acknowledge it; False when that failed."""
        self._called_s = self._clock.monotonic()
        try:
            self._journal.commit(self._batch.readings(), self._batch.receipts())
        except (sqlite3.OperationalError, StoreFault, OSError) as fault:
            self._failed(fault)
            return False
        if self.fault is not None:
            log.warning("the readings are written again")
        self.fault = None
        self._retry.reset()
        self._commit_at_s = None
        for ticket in self._batch.clear():
            ticket.done = True
        self._deliveries.settle()
        return True

    def _failed(self, fault: Exception) -> None:
        if self.fault is None:
            log.error("readings cannot be written: %s; they are kept in memory meanwhile", fault)
        self.fault = str(fault)
        self._commit_at_s = self._clock.monotonic() + self._retry.next_s()

    def abandon(self) -> int:
        """At the end: how many readings are lost with this process. A broker keeps its own."""
        lost = len(self._batch) - self._batch.kept_elsewhere
        for held in self._held.take_all():
            if held.ticket is None:
                lost += len(held.measured)
                self._counts.drop(held.frame.source, "clock never right", times=len(held.measured))
        return lost
