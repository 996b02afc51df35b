"""From time to time, the journal is packed into the archive."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault

log = logging.getLogger("collector")

_AGAIN_AFTER_S = 300.0


class Sealer:
    """Seals every `every_s`. An archive that cannot be written costs nothing: the journal waits.

    The archive stays open in between: closing it would write all its newest pages a second time.
    """

    def __init__(
        self,
        journal: Journal,
        archive: Path,
        every_s: float,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._journal = journal
        self._archive = archive
        self._every_s = every_s
        self._monotonic = monotonic
        self._due_s = monotonic() + every_s
        self._open: SqliteArchive | None = None
        self._identity: tuple[int, int] | None = None

    def due(self) -> bool:
        """True when it is time."""
        return self._monotonic() >= self._due_s

    def seal(self) -> None:
        """Move what the journal has into the archive; tried again in five minutes if it fails."""
        try:
            sealed = seal(self._journal, self._opened())
        except (sqlite3.OperationalError, StoreFault, OSError) as fault:
            self._let_go()
            log.warning("the journal cannot be sealed: %s; it keeps its readings", fault)
            self._due_s = self._monotonic() + min(_AGAIN_AFTER_S, self._every_s)
            return
        self._due_s = self._monotonic() + self._every_s
        if sealed:
            log.info("sealed %d readings", sealed)

    def close(self) -> None:
        """Let go of the archive. Closing again does nothing."""
        self._let_go()

    def _opened(self) -> SqliteArchive:
        """The archive as it stands at its path now: another file may have taken its place."""
        if self._open is not None and self._identity_now() != self._identity:
            self._let_go()
        if self._open is None:
            self._open = SqliteArchive(self._archive)
            self._identity = self._identity_now()
        return self._open

    def _let_go(self) -> None:
        if self._open is not None:
            self._open.close()
        self._open = self._identity = None

    def _identity_now(self) -> tuple[int, int] | None:
        try:
            now = self._archive.stat()
        except FileNotFoundError:
            return None
        return now.st_dev, now.st_ino
