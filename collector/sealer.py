"""From time to time, the journal is packed into the archive."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault

log = logging.getLogger("collector")

_AGAIN_AFTER_S = 300.0


class Sealer:
    """Seals every `every_s`. An archive that cannot be written costs nothing: the journal waits."""

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

    def due(self) -> bool:
        """True when it is time."""
        return self._monotonic() >= self._due_s

    def seal(self) -> None:
        """Move what the journal has into the archive; tried again in five minutes if it fails."""
        try:
            with closing(SqliteArchive(self._archive)) as archive:
                sealed = seal(self._journal, archive)
        except (sqlite3.OperationalError, StoreFault, OSError) as fault:
            log.warning("the journal cannot be sealed: %s; it keeps its readings", fault)
            self._due_s = self._monotonic() + min(_AGAIN_AFTER_S, self._every_s)
            return
        self._due_s = self._monotonic() + self._every_s
        if sealed:
            log.info("sealed %d readings", sealed)
