"""Where a running rack's commands come from: standard input, or a file that lines are added to."""

from __future__ import annotations

import queue
import sys
import threading
from pathlib import Path
from typing import Protocol

_MOST_WAITING = 100
_LONGEST = 4096


class Hearing(Protocol):
    """Something that may have lines for us."""

    def lines(self) -> list[str]:
        """The whole lines that have come since the last call; never waits."""


class DeafEars:
    """No commands at all."""

    def lines(self) -> list[str]:
        """None, ever."""
        return []


class StandardInput:
    """Commands typed or piped in."""

    def __init__(self) -> None:
        self._waiting: queue.Queue[str] = queue.Queue(_MOST_WAITING)
        threading.Thread(target=self._read, name="standard input", daemon=True).start()

    def lines(self) -> list[str]:
        """What has been typed since the last call."""
        found = []
        while not self._waiting.empty():
            found.append(self._waiting.get_nowait())
        return found

    def _read(self) -> None:
        for line in sys.stdin:
            if line.strip():
                self._waiting.put(line)


class CommandFile:
    """Commands added to a file, for example with `echo "heater off left shelf" >> FILE`.

    What stands in it when we start is not done again. A file that has become shorter is read
    from its start.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        path.touch()
        self._done = path.stat().st_size

    def lines(self) -> list[str]:
        """The lines added since the last call; an unfinished one is left for the next."""
        size = self._path.stat().st_size if self._path.exists() else 0
        if size < self._done:
            self._done = 0
        if size == self._done:
            return []
        with self._path.open("rb") as file:
            file.seek(self._done)
            new = file.read(_LONGEST)
        whole = new[: new.rfind(b"\n") + 1]
        # A "line" longer than any command is thrown away in pieces.
        self._done += len(whole) if whole or len(new) < _LONGEST else len(new)
        return [text for text in whole.decode("utf-8", "replace").splitlines() if text.strip()]


def hearing(source: str | None) -> Hearing:
    """Where to listen: None for nowhere, "-" for standard input, else a file."""
    if source is None:
        return DeafEars()
    return StandardInput() if source == "-" else CommandFile(Path(source))
