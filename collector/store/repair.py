"""Mending journal and archive: what can be read of a copy is written anew, the rest is named."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path

from collector.store.check import check_archive, check_journal
from collector.store.copying import sync
from collector.store.migrations import ARCHIVE, JOURNAL, Schema
from collector.store.rebuild import rebuild_archive, rebuild_journal
from collector.store.sqlite_file import open_as_it_is, open_for_writing, speaking_of
from collector.store.writer_lock import WriterLock
from config.errors import StoreFault

Rebuild = Callable[[sqlite3.Connection, Path], Iterator[str]]

_BESIDE = ("-wal", "-shm")


def repair(journal: Path, archive: Path) -> list[str]:
    """Mend what `check` finds; returns what was done and what is lost, one line each.

    Where something is lost, the damaged file stays beside the new one. Raises StoreFault when a
    collector runs, when something writes meanwhile, or when it cannot be done; then all is left
    as it was.
    """
    if not journal.parent.is_dir():
        return []
    with closing(WriterLock(journal)):
        return [
            *_repair_file(archive, ARCHIVE, check_archive, rebuild_archive),
            *_repair_file(journal, JOURNAL, check_journal, rebuild_journal),
        ]


def _repair_file(
    path: Path, schema: Schema, check: Callable[[Path], list[str]], rebuild: Rebuild
) -> list[str]:
    if not path.exists():
        return []
    if not check(path):
        return [f"{path}: whole; left as it is"]
    with speaking_of(path):
        before = _state(path)
        aside, new = _beside(path, "before-repair"), path.with_name(f"{path.name}.new")
        _copy(path, aside)
        _remove(new)
        lost = _write_anew(aside, new, schema, rebuild)
        if faults := check(new):
            raise StoreFault(f"{path}: cannot be mended ({faults[0]}); it was left as it is")
        if _state(path) != before:
            raise StoreFault(f"{path}: something wrote to it meanwhile; stop that, then again")
        _fold(path)
        _put_in_place(new, path)
        if not lost:
            _remove(aside)
            return [f"{path}: mended; nothing is lost"]
    return [*(f"lost: {one}" for one in lost), f"{path}: mended; as it was it is in {aside}"]


def _write_anew(aside: Path, new: Path, schema: Schema, rebuild: Rebuild) -> list[str]:
    """Rebuild from the copy; returns what is lost. The new file is whole and synced."""
    open_for_writing(new, schema, 0).close()
    try:
        old, version = open_as_it_is(aside, schema)
    except StoreFault as fault:
        lost = [f"all of it: {fault}"]
    else:
        if old is None or version != schema.version:
            lost = ["all of it: what it was cannot be told"]
        else:
            with closing(old):
                lost = list(rebuild(old, new))
                if not _sound(old):
                    lost.append("rows that nothing leads to any more, if there were any")
    with closing(open_for_writing(new, schema, 0)) as file:
        file.execute("PRAGMA journal_mode = DELETE")  # all of it in one file, to be moved
    return lost


def _sound(file: sqlite3.Connection) -> bool:
    """False when pages may hold rows that no reading of the tables comes past.

    One that counts too few of its rows, or that no other page names, hides them without any fault.
    """
    try:
        return file.execute("PRAGMA integrity_check(1)").fetchall() == [("ok",)]
    except (sqlite3.DatabaseError, UnicodeDecodeError):  # as in sqlite_file
        return False


def _fold(path: Path) -> None:
    """Move what is ahead of the old file into it, so that a kill between taking away what was ahead
    and putting the new one in place takes away nothing that is in no other file."""
    with (
        # From what cannot be opened, nothing could be read either.
        suppress(sqlite3.DatabaseError, UnicodeDecodeError),
        closing(sqlite3.connect(path, timeout=0)) as old,
    ):
        old.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _put_in_place(new: Path, path: Path) -> None:
    # A write-ahead file of the old one must never be read into the new one.
    for end in _BESIDE:
        path.with_name(path.name + end).unlink(missing_ok=True)
    new.replace(path)
    sync(path.parent)


def _copy(path: Path, target: Path) -> None:
    # Without the index of the write-ahead file (-shm): it is made again from the file itself.
    for end in ("", "-wal"):
        source = path.with_name(path.name + end)
        if source.exists():
            copy = target.with_name(target.name + end)
            shutil.copy2(source, copy)
            sync(copy)


def _beside(path: Path, word: str) -> Path:
    """A name that is not taken: an earlier repair's copy is never overwritten."""
    number = 1
    while True:
        name = path.with_name(f"{path.name}.{word}-{number}")
        if not name.exists():
            return name
        number += 1


def _remove(path: Path) -> None:
    for end in ("", *_BESIDE):
        path.with_name(path.name + end).unlink(missing_ok=True)


def _state(path: Path) -> list[tuple[int, int]]:
    """What changes when something writes: size and time of the file and of what is ahead of it."""
    files = [path, path.with_name(f"{path.name}-wal")]
    stats = [file.stat() for file in files if file.exists()]
    return [(stat.st_size, stat.st_mtime_ns) for stat in stats if stat.st_size]
