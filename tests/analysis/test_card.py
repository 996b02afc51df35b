"""The kernel's list of mounts, after the example in proc_pid_mountinfo(5)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.card import MOUNTS, wear_note

ROOT = "22 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw"
PLACE = Path("/var/lib/warmcoil")


def test_a_card_as_it_comes_is_named_with_what_to_do() -> None:
    note = wear_note(PLACE, ROOT)
    assert note is not None
    assert "commit=60" in note
    assert "under /" in note


@pytest.mark.parametrize(
    "mounts",
    [
        ROOT + ",commit=60",
        ROOT.replace("/dev/mmcblk0p2", "/dev/nvme0n1p1"),
        ROOT.replace("ext4", "f2fs"),
        # A disk of its own for the home, with a blank in its name and no optional fields.
        ROOT + "\n40 22 8:1 / /var/lib rw - ext4 /dev/sda1 rw\n41 22 8:2 / /mnt/a\\040b rw - x y z",
        "",
        "rubbish\n1 2 - 3",
    ],
)
def test_where_nothing_is_to_be_done(mounts: str) -> None:
    assert wear_note(PLACE, mounts) is None


def test_a_home_with_a_blank_in_its_path(tmp_path: Path) -> None:
    home = tmp_path / "a b"
    home.mkdir()
    point = str(home).replace(" ", "\\040")
    mounts = f"{ROOT.replace('mmcblk0p2', 'sda2')}\n41 22 8:2 / {point} rw - ext4 /dev/mmcblk1p1 rw"
    note = wear_note(home, mounts)
    assert note is not None
    assert f"under {home} " in note


def test_this_machines_own_list_is_read() -> None:
    as_if = re.sub(r" - \S+ \S+ \S+", " - ext4 /dev/mmcblk0p2 rw", MOUNTS.read_text("utf-8"))
    assert wear_note(PLACE, as_if) is not None
