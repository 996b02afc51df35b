"""The collector at work: source threads fill the inbox, one thread empties it into the journal."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence

from collector.frame import Inbox
from collector.pipeline import Pipeline
from collector.sealer import Sealer
from collector.service import SignsOfLife
from collector.sources.source import Source
from collector.state import StateFile

log = logging.getLogger("collector")

_PART_OF_THE_END_S = 1.5
"""The end has three parts (sources, broker, the rest) and 5 s."""
_MOST_AT_ONCE = 256
"""Frames; then it is looked whether something else is due."""
LOST = 3
"""Exit code when readings could not be written; as for any fault of the store."""
UNEXPECTED = 70
"""Exit code when a source died of something that nobody foresaw (EX_SOFTWARE)."""


class Collecting:
    """Runs until told to stop; then ends in order: nothing that came in is left behind."""

    def __init__(
        self,
        *,
        sources: Sequence[Source],
        inbox: Inbox,
        pipeline: Pipeline,
        sealer: Sealer,
        state: StateFile,
        life: SignsOfLife,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._sources = sources
        self._inbox = inbox
        self._pipeline = pipeline
        self._sealer = sealer
        self._state = state
        self._life = life
        self._monotonic = monotonic
        self._stopping = threading.Event()
        self._stop_first = threading.Event()
        self._stop_last = threading.Event()
        self._threads: list[tuple[Source, threading.Thread]] = []
        self._died = False

    def stop(self) -> None:
        """End soon. May be called from a signal handler."""
        self._stopping.set()
        self._inbox.wake()

    def run(self) -> int:
        """Work until `stop`; returns the exit code."""
        for source in self._sources:
            thread = threading.Thread(
                target=self._guarded, args=(source,), name=source.name, daemon=True
            )
            self._threads.append((source, thread))
            thread.start()
        self._life.ready()
        while not self._stopping.is_set():
            self._once()
        return self._end()

    def _once(self) -> None:
        if self._pipeline.full:
            self._stopping.wait(self._pipeline.wait_s())
        else:
            self._take_waiting(self._pipeline.wait_s())
        self._pipeline.tick()
        if self._sealer.due():
            self._sealer.seal()
        self._state.write_if_due()
        self._life.alive()

    def _take_waiting(self, wait_s: float) -> None:
        """Take what is in the inbox, so that one commit serves all that came together."""
        for _ in range(_MOST_AT_ONCE):
            frame = self._inbox.get(wait_s)
            if frame is None:
                return
            self._pipeline.take(frame)
            if self._pipeline.full:
                return
            wait_s = 0.0

    def _guarded(self, source: Source) -> None:
        """A source's thread. If it dies, all end, and the service manager starts them anew."""
        stop = self._stop_last if source.ends_last else self._stop_first
        try:
            source.run(stop)
        except Exception:  # the thread's last line: whatever it is, it ends the process
            log.exception("%s: died of something unexpected", source.name)
            self._died = True
            self.stop()

    def _end(self) -> int:
        self._life.stopping()
        self._stop_threads(self._stop_first, last=False)
        self._drain()
        written = self._pipeline.commit()
        self._stop_threads(self._stop_last, last=True)
        if lost := self._pipeline.abandon():
            log.warning("%d readings could not be written and are lost", lost)
        self._state.write()
        return LOST if not written else UNEXPECTED if self._died else 0

    def _stop_threads(self, stop: threading.Event, *, last: bool) -> None:
        """Stop those that end first, or last. One that hangs is left: it dies with the process."""
        stop.set()
        until_s = self._monotonic() + _PART_OF_THE_END_S
        for source, thread in self._threads:
            if source.ends_last == last:
                source.wake()
                thread.join(max(0.0, until_s - self._monotonic()))
                if thread.is_alive():
                    log.warning("%s: does not end in time", source.name)

    def _drain(self) -> None:
        """Take what is still in the inbox."""
        until_s = self._monotonic() + _PART_OF_THE_END_S
        while self._monotonic() < until_s and not self._pipeline.full:
            frame = self._inbox.get(0.0)
            if frame is None:
                break
            self._pipeline.take(frame)
        self._pipeline.tick()
