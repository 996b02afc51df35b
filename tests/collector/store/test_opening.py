"""Which archive a home has is said in one place."""

from __future__ import annotations

from pathlib import Path

ROOMS = Path(__file__).parents[3]
DEMO = {"analysis/demo/run.py"}
"""Its home is its own, with the archive that every new home has."""


def test_no_room_opens_the_archive_past_the_settings() -> None:
    found = {
        str(path.relative_to(ROOMS))
        for room in ("analysis", "collector")
        for path in (ROOMS / room).rglob("*.py")
        if path.name != "opening.py" and ".archive) as " in path.read_text("utf-8")
    }
    assert found == DEMO
