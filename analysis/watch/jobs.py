"""The jobs of the watch: what is due is done, one at a time, beside the evaluations.

A job that fails is said once and tried again, later each time; it never stops an evaluation. A
run that was missed while the board was off is caught up once. Nothing is done by a clock that is
not sure yet, and what was done by one that was ahead is not done again.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Protocol

from analysis.watch.jobs_due import JobSchedule, believable, due, newest_moment
from analysis.watch.jobs_kept import JobFile, Kept, Note
from analysis.watch.outbox import Urgency
from collector.backoff import Backoff
from collector.clock import RELEASED_MS, Clock
from config.errors import StoreFault, WarmcoilError

_FIRST_WAIT_SECONDS = 300.0
_MOST_WAIT_SECONDS = 4 * 3600.0
_HOLD_SECONDS = 600.0
FAULT_TOPIC = "job"
_LOG = logging.getLogger(__name__)


class Work(Protocol):
    """What a job does: begun, then asked for its result until there is one."""

    def begin(self, due_ms: int, now_ms: int) -> None:
        """Begin the run for the moment `due_ms`."""
        ...

    def result(self) -> list[Note] | None:
        """What it has to tell; None while it is at work. Raises WarmcoilError when it failed."""
        ...

    def close(self) -> None:
        """Let go of what goes on."""
        ...


class AtOnce:
    """Work that is done within the call: light, and of milliseconds."""

    def __init__(self, work: Callable[[int, int], list[Note]]) -> None:
        self._work = work
        self._notes: list[Note] = []

    def begin(self, due_ms: int, now_ms: int) -> None:
        """Do it."""
        self._notes = self._work(due_ms, now_ms)

    def result(self) -> list[Note]:
        """What it has to tell."""
        return self._notes

    def close(self) -> None:
        """Nothing goes on."""


@dataclass(frozen=True, slots=True)
class Job:
    """One regular job. `first_step` is what a keeper can do when it fails."""

    name: str
    schedule: JobSchedule
    work: Work
    first_step: str = "See the log of the watch."


@dataclass(frozen=True, slots=True)
class Found:
    """What a look at the home found to say: messages, and the names under which they are kept."""

    names: tuple[str, ...]
    note: Note


Look = Callable[[Collection[str], int], Sequence[Found]]
"""Handed the names already said and the time; returns what is to be said now."""


@dataclass(slots=True)
class _Retry:
    backoff: Backoff = field(
        default_factory=lambda: Backoff(_FIRST_WAIT_SECONDS, _MOST_WAIT_SECONDS)
    )
    not_before_s: float = -1e18


class Jobs:
    """All jobs of one home. `tick` them every few seconds."""

    def __init__(
        self,
        jobs: Sequence[Job],
        looks: Sequence[Look],
        *,
        file: JobFile,
        clock: Clock,
        zone: tzinfo,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._jobs = jobs
        self._looks = looks
        self._file = file
        self._clock = clock
        self._zone = zone
        self._monotonic = monotonic
        self._started_s = monotonic()
        self._retries = {job.name: _Retry() for job in jobs}
        self._at_work: tuple[Job, int] | None = None
        self._said: set[str] = set()

    def tick(self) -> None:
        """Do what is due. Faults are said in the log and to the keeper, never raised."""
        now_ms = self._clock.now_ms()
        if not self._believe_clock(now_ms):
            return
        try:
            kept = self._file.kept()
            if self._at_work is not None:
                self._ask(*self._at_work, kept, now_ms)
            for job in self._jobs:
                if self._at_work is None:
                    self._begin_if_due(job, kept, now_ms)
            for look in self._looks:
                self._look(look, kept, now_ms)
        except StoreFault as fault:
            self._say_once(str(fault))  # the alarm file: the evaluations speak of it too

    def close(self) -> None:
        """End what goes on; the next watch begins it again."""
        if self._at_work is not None:
            self._at_work[0].work.close()
            self._at_work = None

    # ---- regular jobs -----------------------------------------------------------------------

    def _begin_if_due(self, job: Job, kept: dict[str, Kept], now_ms: int) -> None:
        last = kept.get(job.name)
        if last is None or not believable(job.schedule, last.due_ms, now_ms, self._zone):
            # A new home has missed nothing; and what a wrong clock did early is done.
            self._file.done({job.name: newest_moment(job.schedule, now_ms, self._zone)}, (), now_ms)
            return
        due_ms = due(job.schedule, last.due_ms, now_ms, self._zone)
        if due_ms is None or self._monotonic() < self._retries[job.name].not_before_s:
            return
        self._at_work = (job, due_ms)
        fault = self._guarded(job, lambda: job.work.begin(due_ms, now_ms))
        if fault is None:
            self._ask(job, due_ms, kept, now_ms)
        else:
            self._failed(job, due_ms, fault, last, now_ms)

    def _ask(self, job: Job, due_ms: int, kept: dict[str, Kept], now_ms: int) -> None:
        notes: list[Note] | None = None

        def ask() -> None:
            nonlocal notes
            notes = job.work.result()

        fault, last = self._guarded(job, ask), kept.get(job.name)
        if fault is not None:
            self._failed(job, due_ms, fault, last, now_ms)
        elif notes is not None:
            self._done(job, due_ms, notes, last, now_ms)

    def _guarded(self, job: Job, step: Callable[[], None]) -> str | None:
        """Why it failed, in words; None when it did not."""
        try:
            step()
        except WarmcoilError as fault:
            return str(fault)
        except Exception as fault:  # noqa: BLE001  # whatever it is: the alarms go on
            _LOG.exception("job %s", job.name)
            return f"something unexpected ({type(fault).__name__})"
        return None

    def _done(
        self, job: Job, due_ms: int, notes: list[Note], last: Kept | None, now_ms: int
    ) -> None:
        self._at_work = None
        if last is not None and last.fault is not None:
            notes = [*notes, _works_again(job, due_ms)]
        self._file.done({job.name: due_ms}, notes, now_ms)
        self._retries[job.name] = _Retry()
        _LOG.info("%s: done", job.name)

    def _failed(self, job: Job, due_ms: int, fault: str, last: Kept | None, now_ms: int) -> None:
        self._at_work = None
        retry = self._retries[job.name]
        retry.not_before_s = self._monotonic() + retry.backoff.next_s()
        said_already = last is not None and last.fault is not None
        notes = [] if said_already else [_does_not_work(job, due_ms, fault)]
        self._file.failed(job.name, fault, notes, now_ms)
        _LOG.error("%s: %s", job.name, fault)

    # ---- looks ------------------------------------------------------------------------------

    def _look(self, look: Look, kept: dict[str, Kept], now_ms: int) -> None:
        try:
            found = look(kept.keys(), now_ms)
        except WarmcoilError as fault:
            self._say_once(str(fault))
            return
        for one in found:
            self._file.done(dict.fromkeys(one.names, now_ms), [one.note], now_ms)

    # ---- the clock --------------------------------------------------------------------------

    def _believe_clock(self, now_ms: int) -> bool:
        """Never one that stands before the year of release; one whose clock was ahead, and was
        put right, need not wait for ever."""
        if now_ms < RELEASED_MS:
            return False
        return self._clock.sure() or self._monotonic() - self._started_s > _HOLD_SECONDS

    def _say_once(self, words: str) -> None:
        if words not in self._said:
            self._said.add(words)
            _LOG.error("%s", words)


def _does_not_work(job: Job, due_ms: int, fault: str) -> Note:
    lines = (f"{job.name[0].upper()}{job.name[1:]}: {fault}.", "It is tried again.", job.first_step)
    return Note(FAULT_TOPIC, f"{job.name} {due_ms}", f"Not done: {job.name}", lines, Urgency.LOW)


def _works_again(job: Job, due_ms: int) -> Note:
    return Note(
        FAULT_TOPIC,
        f"{job.name} {due_ms} again",
        f"Done after all: {job.name}",
        (f"What was in the way of the {job.name} is gone; it is done.",),
        Urgency.ALL_CLEAR,
    )
