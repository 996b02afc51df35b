"""`python -m analysis.watch.jobs_backup --home DIR --due MS`: the nightly backup, in a process of
its own, as a season of readings takes longer to copy than an alarm may wait.

The oldest backups go only when the new one was read back and found whole.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from analysis.watch.jobs_process import Told, run_job
from analysis.words import local_day_of
from collector.backup import backup, verify
from config.errors import StoreFault, Unusable
from config.home import Home
from config.settings import load_settings

_NAMED = re.compile(r"warmcoil-\d{4}-\d{2}-\d{2}\.tar")
_TIME_LIMIT_SECONDS = 3600


def nightly_backup(home: Home, due_ms: int, now_ms: int) -> Path:
    """Take the backup of the night of `due_ms`, verify it, then forget the oldest; its path.

    Raises WarmcoilError; then no older backup has been touched.
    """
    settings = load_settings(home)
    night = local_day_of(due_ms, settings.zone)
    file = home.backups / f"warmcoil-{night.isoformat()}.tar"
    try:
        home.backups.mkdir(mode=0o700, exist_ok=True)
        for left in home.backups.glob(".backup-*"):  # of a run that was killed
            shutil.rmtree(left)
        backup(home, file, now_ms=lambda: now_ms)
        _read_back(file)
        for old in _too_many(home.backups, file, settings.watch.backups_kept):
            old.unlink()
    except OSError as fault:
        raise StoreFault(f"{fault.filename or home.backups}: {fault.strerror or fault}") from fault
    return file


def _read_back(file: Path) -> None:
    try:
        verify(file)
    except Unusable as fault:
        raise StoreFault(
            f"the new backup cannot be read back ({fault}); is the disk well?"
        ) from fault


def _too_many(folder: Path, new: Path, kept: int) -> list[Path]:
    """All but the new one and the newest before it. A keeper's own files are not ours to judge."""
    others = sorted(p for p in folder.iterdir() if _NAMED.fullmatch(p.name) and p != new)
    return others[: max(0, len(others) - (kept - 1))]


def _job(home: Home, due_ms: int, now_ms: int) -> Told | None:
    nightly_backup(home, due_ms, now_ms)
    return None


if __name__ == "__main__":
    run_job("analysis.watch.jobs_backup", _job, _TIME_LIMIT_SECONDS)
