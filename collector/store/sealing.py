"""From the journal into the archive. The archive has it for good before the journal lets go.

A crash in between leaves readings in both; readers and the next sealing merge them.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

from collector.store.archive import Archive, ArchiveAway, ArchiveRefused
from collector.store.journal import Journal

log = logging.getLogger("collector")

KEPT_ROWS = 16
"""The newest commits stay, and with them the receipts of messages that may come again."""


def seal(journal: Journal, archive: Archive, stopping: Callable[[], bool] = lambda: False) -> int:
    """Move all but the newest commits; returns the number of readings moved.

    An archive that is away just now ends it without harm, to be tried again. What it refuses
    stays in the journal, and all else goes on. Raises StoreFault when something is wrong for
    longer; nothing is lost then either. Once `stopping` says so the journal is not touched.
    """
    sealed = last_id = 0
    refused: ArchiveRefused | None = None
    while rows := None if stopping() else journal.oldest(after_id=last_id, keep=KEPT_ROWS):
        try:
            archive.write(rows.columns)
        except ArchiveRefused as fault:
            refused = refused or fault
            last_id = rows.last_id
            continue
        except ArchiveAway as fault:
            log.info("sealing waits: %s", fault)
            break
        if stopping():
            break  # they are in both, and are merged
        journal.forget(rows.ids)
        last_id = rows.last_id
        sealed += sum(map(len, rows.columns.values()))
    if refused is not None:
        raise refused
    return sealed
