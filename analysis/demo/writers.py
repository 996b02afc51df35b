"""The processes that write the story's readings: as many at a time as there are cores, to two."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rich.progress import Progress

from analysis.demo.history import PARTS
from analysis.demo.processes import leashed, module
from analysis.demo.story import Story
from config.errors import StoreFault

_MOST_AT_ONCE = 2
_POLL_SECONDS = 0.05


@dataclass(slots=True)
class _Writer:
    process: subprocess.Popen[bytes]
    out: Path
    days: int = 0
    heard: bytes = b""

    def listen(self) -> None:
        """Take in the days it says it has done."""
        stdout = self.process.stdout
        if stdout is None:
            return
        while True:
            try:
                said = os.read(stdout.fileno(), 4096)
            except BlockingIOError:
                return
            if not said:
                return
            *whole, self.heard = (self.heard + said).split(b"\n")
            if whole:
                self.days = int(whole[-1])


@dataclass(slots=True)
class Writers:
    """All parts of a story's readings, on their way to files in `folder`.

    Call from the main thread: a process on a leash lives as long as the thread that started it.
    """

    story: Story
    folder: Path
    shown: Progress
    _waiting: list[int] = field(default_factory=lambda: list(range(len(PARTS))))
    _at_work: list[_Writer] = field(default_factory=list)
    _done: list[Path] = field(default_factory=list)

    def finished(self) -> Iterator[Path]:
        """Each part's file as soon as it is whole. Raises StoreFault when one fails."""
        task = self.shown.add_task("readings", total=len(PARTS) * self.story.calendar.days)
        while self._waiting or self._at_work or self._done:
            self.tend()
            whole = (len(PARTS) - len(self._waiting) - len(self._at_work)) * self._days
            self.shown.update(task, completed=whole + sum(w.days for w in self._at_work))
            if self._done:
                yield self._done.pop(0)
            else:
                time.sleep(_POLL_SECONDS)
        self.shown.update(task, completed=len(PARTS) * self._days)

    def tend(self) -> None:
        """See who has finished, and put the next to work. Cheap: call it often."""
        for writer in list(self._at_work):
            writer.listen()
            code = writer.process.poll()
            if code is None:
                continue
            self._at_work.remove(writer)
            _hang_up(writer.process)
            if code != 0:
                raise StoreFault(
                    f"{writer.out}: the demo's readings could not be written (code {code}); "
                    "is the disk full?"
                )
            self._done.append(writer.out)
        while self._waiting and len(self._at_work) < min(_MOST_AT_ONCE, os.cpu_count() or 1):
            self._at_work.append(self._start(self._waiting.pop(0)))

    def end(self) -> None:
        """End those still at work."""
        for writer in self._at_work:
            writer.process.terminate()
            writer.process.wait()
            _hang_up(writer.process)
        self._at_work.clear()
        self._waiting.clear()

    @property
    def _days(self) -> int:
        return self.story.calendar.days

    def _start(self, part: int) -> _Writer:
        out = self.folder / f"readings-{part + 1}.csv"
        options = {
            "--part": part,
            "--days": self._days,
            "--until-ms": self.story.calendar.now_ms,
            "--seed": self.story.seed,
            "--out": out,
        }
        words = [str(word) for pair in options.items() for word in pair]
        process = subprocess.Popen(  # noqa: S603  # our own module
            leashed(module("analysis.demo.history", *words)),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        if process.stdout is not None:
            os.set_blocking(process.stdout.fileno(), False)
        return _Writer(process, out)


def _hang_up(process: subprocess.Popen[bytes]) -> None:
    if process.stdout is not None:
        process.stdout.close()
