"""A copy of a database beside it, kept before something changes it for good."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path


def keep_copy(path: Path, target: Path) -> None:
    """An online copy of what is committed; whole or not there, also after a power cut.

    Raises what SQLite and the disk raise.
    """
    unfinished = target.with_name(f"{target.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    uri = f"{path.absolute().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(uri, uri=True)) as source,
        closing(sqlite3.connect(unfinished)) as copy,
    ):
        source.backup(copy)
    sync(unfinished)
    unfinished.replace(target)
    sync(target.parent)


def sync(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
