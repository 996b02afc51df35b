"""A card of a few MB: an ext4 file system in a file, to be filled, frozen and made to fail."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

SIZE = 16_000_000


class Card:
    """Mounted at `folder`. Only root can make one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        image = folder.with_name(f"{folder.name}.img")
        self._ballast = folder / "ballast"
        folder.mkdir()
        with image.open("wb") as file:
            file.truncate(SIZE)
        self._device = run("losetup", "-f", "--show", str(image)).strip()
        run("mkfs.ext4", "-q", "-m", "0", self._device)
        self.mount()

    def mount(self) -> None:
        """Put it in."""
        run("mount", "-o", "errors=remount-ro", self._device, str(self.folder))

    def unmount(self) -> None:
        """Take it out; nothing may be open there."""
        run("umount", str(self.folder))

    def fill(self) -> None:
        """Take all the room that is left, also what is given back later."""
        with contextlib.suppress(OSError), self._ballast.open("ab", buffering=0) as file:
            while True:
                file.write(bytes(4096))

    def make_room(self) -> None:
        """Give it back."""
        self._ballast.unlink()

    def freeze(self) -> None:
        """Whoever writes or syncs waits."""
        run("fsfreeze", "-f", str(self.folder))

    def thaw(self) -> None:
        """They go on."""
        run("fsfreeze", "-u", str(self.folder))

    def sync(self) -> None:
        """All that was written is on it."""
        run("sync", "-f", str(self.folder))

    def fail(self) -> None:
        """The kernel finds a fault and lets nobody write any more, as on a card that wears out.

        What was not synced is lost, as at a power cut.
        """
        trigger = Path("/sys/fs/ext4", Path(self._device).name, "trigger_fs_error")
        trigger.write_text("a test\n", "ascii")

    def mend(self) -> None:
        """What a reboot does: check the file system, put it in again."""
        self.unmount()
        # 1: it has mended something (fsck(8)).
        done = subprocess.run(["fsck.ext4", "-fy", self._device], capture_output=True, check=False)
        assert done.returncode in {0, 1}, done.stdout
        self.mount()

    def close(self) -> None:
        """Throw it away, whatever state it is in."""
        for command in (
            ("fsfreeze", "-u", str(self.folder)),
            ("umount", "-l", str(self.folder)),
            ("losetup", "-d", self._device),
        ):
            subprocess.run(command, capture_output=True, check=False)


def run(*command: str) -> str:
    """What it said; it must succeed."""
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Card]:
    """A card of its own; the test is skipped where none can be made, and fails where one should."""
    try:
        made = Card(tmp_path / "card")
    except (OSError, subprocess.SubprocessError) as fault:
        why = f"no file system can be made and mounted here: {fault}"
        if os.geteuid() == 0 and os.environ.get("CI") == "true":
            pytest.fail(why)
        pytest.skip(why)
    yield made
    made.close()
