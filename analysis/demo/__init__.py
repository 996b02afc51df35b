"""The demo: an invented collection with a season of readings and meals, kept running.

collection, calendar    who and what there is, and when
meals, trouble, care    what happened; draft and story put it together
records, history        the story as the CSV files that an import takes
build                   a home made of them, through the import that every keeper uses
run                     broker, rack, collector and watch, each a process of its own
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from config.home import Home


def run_demo(home: Home, *, days: int = 400, stay_seconds: float | None = None) -> int:
    """Make the demo home unless it is there, start everything, say what to look at, and stay.

    See `analysis.demo.run`. Returns the exit code; raises WarmcoilError, one line.
    """
    from analysis.demo import run  # noqa: PLC0415  # the leash lives here too and must start fast

    return run.run_demo(home, days=days, stay_seconds=stay_seconds)
