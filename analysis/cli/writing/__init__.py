"""Writing in the record book from the command line, in seconds, and looking back at it."""

from __future__ import annotations

import typer

from analysis.cli.writing import body, changes, keeping, meals, opens


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for room in (meals, body, keeping, changes, opens):
        room.register(app)
