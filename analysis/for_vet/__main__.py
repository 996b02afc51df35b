"""`python -m analysis.for_vet`: the paper in a process of its own, for the page.

What draws is heavy; the page that asks for it neither loads it nor waits for ever.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis.for_vet.made import make_paper
from collector.book.book import Book
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.errors import WarmcoilError
from config.home import Home
from config.settings import load_settings


def main(arguments: Sequence[str] | None = None) -> int:
    """The process; 0 when the paper is there."""
    parser = argparse.ArgumentParser(prog="python -m analysis.for_vet")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    parser.add_argument("--animal", required=True)
    for name in ("--start", "--end", "--now"):
        parser.add_argument(name, type=int, required=True, metavar="MS")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    given = parser.parse_args(arguments)
    home = Home(given.home)
    try:
        settings = load_settings(home)
        care = load_care_profile(settings.care.profile, home.folder / "care")
        with (
            Book(home.book, read_only=True, zone=settings.zone) as book,
            open_reader(home, settings) as reader,
        ):
            make_paper(
                given.animal, given.out, book, reader, care, settings,
                start_ms=given.start, end_ms=given.end, now_ms=given.now,
            )  # fmt: skip
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line for who waits for it
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
