"""The running watch: its jobs on a scheduler, its signals, its health.

The evaluation runs every `every_seconds`, late ones are merged, never two at once; all jobs share
one thread. The main thread waits for signals, tells the service manager that the watch is alive
while evaluations succeed, and ends the process when they do not.
"""

from __future__ import annotations

import logging
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

from analysis.watch.systemd import ServiceManager
from config.errors import WarmcoilError

_SIGNALS = (signal.SIGTERM, signal.SIGINT)
_LOOK_SECONDS = 1.0
_ALIVE_SECONDS = 60.0
_JOBS_SECONDS = 15.0
_FIRST_JOBS_SECONDS = 1.0
_GIVE_UP_SECONDS = 300.0
_END_SECONDS = 2.0
_EX_SOFTWARE = 70
_CLOCK_BACK_SECONDS = 5.0
_LOG = logging.getLogger(__name__)


@dataclass(slots=True)
class Health:
    """How the evaluations fare, as the thread of the jobs tells it to the main one."""

    monotonic: Callable[[], float] = time.monotonic
    good_s: float | None = None
    fault: WarmcoilError | None = None
    broken: bool = False
    began_s: float = field(init=False)

    def __post_init__(self) -> None:
        self.began_s = self.monotonic()

    def went_well(self) -> None:
        """An evaluation has succeeded."""
        if self.fault is not None:
            _LOG.info("the watch goes on")
        self.good_s, self.fault = self.monotonic(), None

    def went_wrong(self, fault: WarmcoilError) -> None:
        """An evaluation has failed with something that may pass; the same fault is said once."""
        if str(fault) != str(self.fault):
            _LOG.error("%s", fault)
        self.fault = fault

    def since_good_s(self) -> float:
        """Seconds since the last success, or since the start."""
        return self.monotonic() - (self.began_s if self.good_s is None else self.good_s)


class Service:
    """Runs `evaluate` again and again, and `jobs` beside it, until it is asked to end.

    `jobs` says its own faults; the watch is as healthy as its evaluations.
    """

    def __init__(
        self,
        evaluate: Callable[[], None],
        jobs: Callable[[], None],
        every_seconds: float,
    ) -> None:
        self._evaluate = evaluate
        self._jobs = jobs
        self._every_s = every_seconds
        self._health = Health()
        self._manager = ServiceManager()
        self._at_work = threading.Lock()
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )

    def run(self) -> int:
        """Run until SIGTERM or SIGINT; the exit code. No job is at work on return."""
        # Blocked before any thread begins, so that only the wait below receives them.
        signal.pthread_sigmask(signal.SIG_BLOCK, _SIGNALS)
        self._scheduler.add_job(
            self._job,
            IntervalTrigger(seconds=self._every_s),
            args=(self._evaluate,),
            id="evaluate",
            next_run_time=datetime.now(UTC),
        )
        self._scheduler.add_job(
            self._beside,
            IntervalTrigger(seconds=_JOBS_SECONDS),
            args=(self._jobs,),
            id="jobs",
            # Not before the first evaluation is done: they share one thread.
            next_run_time=datetime.now(UTC) + timedelta(seconds=_FIRST_JOBS_SECONDS),
        )
        self._scheduler.start()
        try:
            return self._wait()
        finally:
            self._end()

    def _wait(self) -> int:
        offset_s = time.time() - time.monotonic()
        while signal.sigtimedwait(_SIGNALS, _LOOK_SECONDS) is None:
            health = self._health
            if health.broken:
                return _EX_SOFTWARE
            if health.fault is not None and health.since_good_s() > _GIVE_UP_SECONDS:
                return health.fault.exit_code
            if health.good_s is not None:
                self._manager.ready()
                if health.since_good_s() < max(_ALIVE_SECONDS, 3 * self._every_s):
                    self._manager.alive()
            offset_s = self._follow_clock(offset_s)
        return 0

    def _follow_clock(self, before_s: float) -> float:
        """The scheduler plans by the wall clock: one put back would have it wait for hours."""
        offset_s = time.time() - time.monotonic()
        if offset_s < before_s - _CLOCK_BACK_SECONDS:
            for name in ("evaluate", "jobs"):
                self._scheduler.modify_job(name, next_run_time=datetime.now(UTC))
        return offset_s

    def _job(self, work: Callable[[], None]) -> None:
        with self._at_work:
            try:
                work()
            except WarmcoilError as fault:
                self._health.went_wrong(fault)
            except Exception:  # noqa: BLE001  # the process ends with a code, and is started again
                _LOG.exception("the watch cannot go on")
                self._health.broken = True
            else:
                self._health.went_well()

    def _beside(self, work: Callable[[], None]) -> None:
        with self._at_work:
            try:
                work()
            except Exception:  # noqa: BLE001  # whatever it is: the evaluations go on
                _LOG.exception("the jobs beside the watch")

    def _end(self) -> None:
        self._manager.stopping()
        self._scheduler.shutdown(wait=False)
        if not self._at_work.acquire(timeout=_END_SECONDS):
            _LOG.warning("an evaluation did not end in time; the next watch takes it up")
            os._exit(_EX_SOFTWARE if self._health.broken else 0)
        self._at_work.release()
