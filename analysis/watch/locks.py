"""One process at a time: a lock on a file of the home, gone with the process that holds it."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from config.errors import StoreFault


class OnlyOne:
    """A lock that at most one process holds. It is released when the process ends, however."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: int | None = None

    def take(self) -> bool:
        """Take the lock; False when another process has it. Raises StoreFault on a failing disk."""
        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as fault:
            raise StoreFault(f"{self._path}: {fault.strerror}") from fault
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(file)
            return False
        self._file = file
        return True

    def release(self) -> None:
        """Give it back."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
