"""From time to time, the journal is packed into the archive."""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

from collector.store.archive import Archive
from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import BadSettings, StoreFault

log = logging.getLogger("collector")

_AGAIN_AFTER_S = 300.0
_END_S = 1.5


class Sealer:
    """Seals every `every_s`. An archive that cannot be written costs nothing: the journal waits.

    The archive stays open in between: closing it would write all its newest pages a second time.
    A server (`open_server`) may take its time, so that is waited for in a thread, while readings
    go on being committed; a file is written at once.
    """

    def __init__(
        self,
        journal: Journal,
        archive: Path,
        every_s: float,
        monotonic: Callable[[], float] = time.monotonic,
        *,
        open_server: Callable[[], Archive] | None = None,
    ) -> None:
        self._journal = journal
        self._archive = archive
        self._every_s = every_s
        self._monotonic = monotonic
        self._open_server = open_server
        self._due_s = monotonic() + every_s
        self._open: Archive | None = None
        self._identity: tuple[int, int] | None = None
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._said = ""

    def due(self) -> bool:
        """True when it is time, and no sealing is going on."""
        return self._monotonic() >= self._due_s and not self._at_work()

    def seal(self) -> None:
        """Move what the journal has into the archive; tried again in five minutes if it fails."""
        if self._open_server is None:
            self._seal()
        elif not self._at_work():
            self._thread = threading.Thread(target=self._seal, name="sealing", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Let go of the archive. A server that is being waited for is left: the journal has all
        that it did not say it has. Closing again does nothing."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(_END_S)
        if not self._at_work():
            self._let_go()

    def _at_work(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def _seal(self) -> None:
        try:
            sealed = seal(self._journal, self._opened(), self._stopping.is_set)
        except (sqlite3.Error, StoreFault, BadSettings, OSError) as fault:
            if self._stopping.is_set():
                return
            self._let_go()
            if str(fault) != self._said:  # an outage of a day is one line
                self._said = str(fault)
                log.warning("the journal cannot be sealed: %s; it keeps its readings", fault)
            self._due_s = self._monotonic() + min(_AGAIN_AFTER_S, self._every_s)
            return
        self._said = ""
        self._due_s = self._monotonic() + self._every_s
        if sealed:
            log.info("sealed %d readings", sealed)

    def _opened(self) -> Archive:
        """The archive as it stands at its path now: another file may have taken its place."""
        if self._open is not None and self._identity_now() != self._identity:
            self._let_go()
        if self._open is None:
            self._open = self._open_server() if self._open_server else SqliteArchive(self._archive)
            self._identity = self._identity_now()
        return self._open

    def _let_go(self) -> None:
        if self._open is not None:
            self._open.close()
        self._open = self._identity = None

    def _identity_now(self) -> tuple[int, int] | None:
        if self._open_server is not None:
            return None
        try:
            now = self._archive.stat()
        except FileNotFoundError:
            return None
        return now.st_dev, now.st_ino
