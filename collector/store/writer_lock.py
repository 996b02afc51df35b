"""One writer: a lock on a file beside, which the kernel lets go of when its process dies."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from config.errors import StoreFault


class WriterLock:
    """Held from making it until `close`. Raises StoreFault at once when another holds it."""

    def __init__(self, path: Path) -> None:
        self._path = path.with_name(f"{path.name}-writer")
        try:
            self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as fault:
            raise StoreFault(f"{self._path}: {fault.strerror}") from fault
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as fault:
            holder = os.read(self._file, 20).decode("ascii", "replace").strip() or "unknown"
            os.close(self._file)
            raise StoreFault(
                f"{path}: a collector (process {holder}) writes here; stop it first"
            ) from fault
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, b"%d\n" % os.getpid(), 0)

    def close(self) -> None:
        """Let another writer in. Closing again does nothing."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
