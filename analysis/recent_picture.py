"""`python -m analysis.recent_picture`: an enclosure's last hours as a picture, for an alarm.

A process of its own: what draws is heavy, and the message that waits for it has a time limit.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis.figures import plot_recent
from analysis.gathering import Facts
from analysis.recent import recent_of
from analysis.tracks import Tracks
from collector.book.book import Book
from collector.clock import wall_clock_ms
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.errors import WarmcoilError
from config.home import Home
from config.settings import load_settings


def draw(home: Home, enclosure: str, title: str, out: Path, now_ms: int) -> None:
    """Draw it. Raises WarmcoilError, one line, when it cannot be."""
    settings = load_settings(home)
    care = load_care_profile(settings.care.profile, home.folder / "care")
    with (
        Book(home.book, read_only=True) as book,
        open_reader(home, settings) as reader,
    ):
        facts, tracks = Facts.of(book), Tracks(reader)
        recent = recent_of(enclosure, facts, tracks, care=care, settings=settings, now_ms=now_ms)
    plot_recent(recent, out, settings, care, title=title)


def main(arguments: Sequence[str] | None = None) -> int:
    """The process; 0 when the picture is there."""
    parser = argparse.ArgumentParser(prog="python -m analysis.recent_picture")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    for name in ("--enclosure", "--title"):
        parser.add_argument(name, required=True)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    given = parser.parse_args(arguments)
    try:
        draw(Home(given.home), given.enclosure, given.title, given.out, wall_clock_ms())
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line for who waits for it
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
