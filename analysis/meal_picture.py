"""`python -m analysis.meal_picture`: the post-meal plot of one meal as a file, for the page.

A process of its own: what draws is heavy, and the page stays light.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis.figures import plot_meal
from analysis.review import gather, review
from collector.book.book import Book
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.errors import NotSo, WarmcoilError
from config.home import Home
from config.settings import load_settings


def draw(home: Home, meal: int, out: Path, now_ms: int) -> None:
    """Draw it. Raises WarmcoilError, one line, when it cannot be."""
    settings = load_settings(home)
    care = load_care_profile(settings.care.profile, home.folder / "care")
    with (
        Book(home.book, read_only=True, zone=settings.zone) as book,
        open_reader(home, settings) as reader,
    ):
        record = book.meal(meal)
        if record.taken_at_ms is None:
            raise NotSo(f"meal {meal} was not taken: there is nothing to plot")
        gathered = gather(record, book, reader, care, settings, now_ms)
        plot_meal(review(gathered, care, settings), gathered, out, settings, care)


def main(arguments: Sequence[str] | None = None) -> int:
    """The process; 0 when the picture is there."""
    parser = argparse.ArgumentParser(prog="python -m analysis.meal_picture")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    for name in ("--meal", "--now"):
        parser.add_argument(name, type=int, required=True)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    given = parser.parse_args(arguments)
    try:
        draw(Home(given.home), given.meal, given.out, given.now)
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line for who waits for it
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
