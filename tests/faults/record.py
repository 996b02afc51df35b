"""What became of each promise under each fault: the tests here say it, a table is made of it.

`make promises` runs every test of this folder at its full count and writes the table in
DEVELOPERS.md. In `make test` the same tests run a short, seeded share, and nothing is written.
"""

from __future__ import annotations

import json
import os
from enum import StrEnum
from pathlib import Path

FILE = "WARMCOIL_PROMISES"
"""Names the file to which lines are added; without it nothing is written."""


class Promise(StrEnum):
    """What the README promises, in a few words."""

    KEPT = "a reading that was acknowledged is kept, once"
    SYNCED = "a power cut takes at most the last 30 s"
    OPENS = "files open again at once, and `check` finds nothing"
    FOUND = "`check` finds what is damaged; `repair` saves the rest and lists what is lost"
    BACKUP = "a restored backup gives the same answers"
    CARD = "collecting pauses with an alarm, and goes on by itself"
    ALARMS = "an alarm is neither lost nor repeated"
    DELIVERED = "each message is delivered once, in order"
    SERVED = "a bad source costs bounded memory, and the others are served"
    BACK = "a source that was away is read again by itself"
    CLOCK = "no wrong clock makes a negative interval or wrong hours"
    STEADY = "memory, handles and time per step stay flat"
    INPUT = "no input crashes, hangs or fills the memory"
    ITSELF = "a node can publish only as itself"
    HIDDEN = "secrets stay in their files"
    INSIDE = "imports and restores stay inside"
    BOARD = "installing, upgrading and removing keep the data"
    ENDS = "SIGTERM ends each process cleanly within 5 s"


def told(
    promise: Promise, fault: str, *, tried: int, lost: int = 0, of: str = "", note: str = ""
) -> None:
    """Say that `promise` was tried `tried` times under `fault`, and how much was lost.

    It is called when the test has asserted all that must hold: `lost` is counted where some may
    be, and left out where the test would have failed before this line for a single one. `of` says
    what is counted and out of how many ("readings of 12,345"); `note` what else a developer should
    know: the worst delay, the most memory.
    """
    line = {
        "promise": str(promise), "fault": fault, "tried": tried, "lost": lost, "of": of,
        "note": note,
    }  # fmt: skip
    if path := os.environ.get(FILE):
        with Path(path).open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
