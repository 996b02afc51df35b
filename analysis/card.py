"""Whether the file system spares the card that the home lies on.

An ext4 as it comes commits a transaction of its own within 5 s of every write, some 13 kB of blocks
whatever is written (measured: `python -m tests.benchmarks.wear --minutes 12`). With a longer
`commit` it does so less often. What the collector syncs is on the card all the same.
"""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath

MOUNTS = Path("/proc/self/mountinfo")
ADVISED_S = 60
_CARD = "/dev/mmcblk"
_OCTAL = re.compile(r"\\([0-7]{3})")


def wear_note(folder: Path, mounts: str) -> str | None:
    """One line with what to do where `folder` is on a card whose ext4 writes every 5 s; else None.

    `mounts` is the kernel's list, proc_pid_mountinfo(5).
    """
    found = _mount_of(PurePosixPath(folder.resolve()), mounts)
    if found is None:
        return None
    point, kind, source, options = found
    seconds = next((int(one[7:]) for one in options if re.fullmatch(r"commit=\d+", one)), 5)
    if not source.startswith(_CARD) or kind != "ext4" or seconds >= ADVISED_S // 2:
        return None
    return (
        f"the card under {point} is written to more than twice as much as need be: add "
        f"commit={ADVISED_S} to its options in /etc/fstab, and start the board anew"
    )


def _mount_of(folder: PurePosixPath, mounts: str) -> tuple[str, str, str, list[str]] | None:
    """Point, kind, source and options of the mount that a folder is in; the last one counts."""
    best: tuple[str, str, str, list[str]] | None = None
    for line in mounts.splitlines():
        before, mark, after = line.partition(" - ")
        fields, rest = before.split(), after.split()
        if not mark or len(fields) < 6 or len(rest) < 3:
            continue
        point = _OCTAL.sub(lambda code: chr(int(code[1], 8)), fields[4])
        if folder.is_relative_to(point) and (best is None or len(point) >= len(best[0])):
            best = point, rest[0], rest[1], rest[2].split(",")
    return best
