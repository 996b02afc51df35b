"""`python -m analysis.all_meals --home DIR --now MS`: every meal judged and their pattern, kept in
a file of the home.

In a process of its own, which ends: judging a thousand meals takes seconds, and the pattern takes
scipy and statsmodels, which a page that runs for months must not hold. What it found is one JSON
document with a stamp of what it was found from, so that who shows it knows whether it still holds.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import signal
import sys
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from analysis.figures.files import write_whole
from analysis.review_row import ReviewRow, row_of
from analysis.watch.locks import OnlyOne
from analysis.words import DAY_MS
from collector.book.book import Book
from collector.store.opening import open_reader
from collector.store.reader import Reader
from config.care import CareProfile, load_care_profile
from config.errors import NotSo, WarmcoilError
from config.home import Home
from config.settings import Settings, load_settings

_FORM = 1
"""Goes up with every change of what is kept, or of how it is worked out."""
_POLITE = 10
_LONGEST_SECONDS = 1800


@dataclass(frozen=True, slots=True)
class AllMeals:
    """What was found at `at_ms` (UTC ms): every meal taken, the oldest first, and their pattern."""

    stamp: str
    at_ms: int
    took_s: float
    rows: tuple[ReviewRow, ...] = ()
    pattern: tuple[str, ...] = ()
    """A paragraph each, as `warmcoil pattern` prints them."""
    no_pattern: str | None = None
    """Why there is no pattern: what it needs is not installed."""
    fault: str | None = None
    """Why nothing was found at all, in one line."""
    whole: bool = True
    """False while the pattern is still being looked for."""


def kept_at(home: Home) -> Path:
    """The file. Nothing in it is lost with it: it is worked out again."""
    return home.folder / "page.meals.json"


def kept(home: Home) -> AllMeals | None:
    """What was found last; None where nothing was, or the file is of another version or damaged."""
    try:
        said = json.loads(kept_at(home).read_text("utf-8"))
        if said["form"] != _FORM:
            return None
        return AllMeals(
            stamp=str(said["stamp"]),
            at_ms=int(said["at_ms"]),
            took_s=float(said["took_s"]),
            rows=tuple(ReviewRow(**row) for row in said["rows"]),
            pattern=tuple(said["pattern"]),
            no_pattern=said["no_pattern"],
            fault=said["fault"],
            whole=bool(said["whole"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def stamp_of(
    book: Book, reader: Reader, care: CareProfile, settings: Settings, as_of_ms: int
) -> str:
    """What everything is found from, as a few digits: the same digits, the same to be found.

    Of the readings: which series there are since when, and of each that was silent for a day at
    `as_of_ms` how many there are. What a running collector adds to the others changes no meal that
    is over.
    """
    series = sorted(
        (
            str(key.probe), key.quantity.value, span.first_ms,
            span.count + span.thinned if span.last_ms < as_of_ms - DAY_MS else None,
        )
        for key, span in reader.series().items()
    )  # fmt: skip
    parts = [_FORM, book.newest_change(), settings.model_dump(mode="json"),
             care.model_dump(mode="json"), series]  # fmt: skip
    octets = json.dumps(parts, sort_keys=True, default=str).encode()
    return hashlib.blake2b(octets, digest_size=10).hexdigest()


def find(home: Home, now_ms: int) -> None:
    """Judge every meal, look for their pattern, and keep both. Raises WarmcoilError.

    Where nothing was kept yet the meals are as soon as they are judged: the pattern takes longer.
    """
    begun_s = time.monotonic()
    settings = load_settings(home)
    care = load_care_profile(settings.care.profile, home.folder / "care")
    with ExitStack() as stack:
        book = stack.enter_context(Book(home.book, read_only=True, zone=settings.zone))
        reader = stack.enter_context(open_reader(home, settings))
        stamp = stamp_of(book, reader, care, settings, now_ms)
        rows = _judged(book, reader, care, settings, now_ms)
        judged = AllMeals(stamp, now_ms, time.monotonic() - begun_s, rows, whole=False)
        if kept(home) is None:
            keep(home, judged)
        pattern, missing = _pattern(book, reader, care, settings, now_ms)
    took_s = time.monotonic() - begun_s
    keep(home, replace(judged, took_s=took_s, pattern=pattern, no_pattern=missing, whole=True))


def _judged(
    book: Book, reader: Reader, care: CareProfile, settings: Settings, now_ms: int
) -> tuple[ReviewRow, ...]:
    from analysis.review import review_all  # noqa: PLC0415  for this process

    meals = {one.meal: one for one in book.meals()}
    return tuple(
        row_of(one, meals[one.meal], settings)
        for one in review_all(book, reader, care, settings, now_ms)
        if one.meal in meals and one.taken_at_ms <= now_ms
    )


def _pattern(
    book: Book, reader: Reader, care: CareProfile, settings: Settings, now_ms: int
) -> tuple[tuple[str, ...], str | None]:
    """The pattern in words, or why there is none."""
    from analysis.pattern import pattern_of_book  # noqa: PLC0415  heavy: for this process alone
    from analysis.pattern_words import sentences  # noqa: PLC0415

    try:
        found = pattern_of_book(book, reader, care, settings, now_ms)
    except NotSo as missing:
        return (), str(missing)
    return tuple(sentences(found, settings)), None


def keep(home: Home, what: AllMeals) -> None:
    """Write it down, whole or not at all. Raises Unusable."""
    text = json.dumps({"form": _FORM, **asdict(what)}, ensure_ascii=False, allow_nan=False)
    write_whole(kept_at(home), text.encode("utf-8", "replace"))


def lock_of(home: Home) -> OnlyOne:
    """Held while it is worked out."""
    return OnlyOne(home.folder / "page.meals.lock")


def main(arguments: Sequence[str] | None = None) -> int:
    """The process. Exit codes: 0 done; otherwise the fault's own, which is kept in the file too."""
    parser = argparse.ArgumentParser(prog="python -m analysis.all_meals")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    parser.add_argument("--now", type=int, required=True, metavar="MS", help="now, UTC ms")
    parser.add_argument("--stamp", default="", help="kept with a fault: what was there to look at")
    given = parser.parse_args(arguments)
    try:
        home = Home(given.home).must_exist()
        lock = lock_of(home)
        if not lock.take():
            return 0  # another is at it, and what it finds will be shown
        try:
            _find_or_say(home, given.now, given.stamp)
        finally:
            lock.release()
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line, for the page's log
        return fault.exit_code
    return 0


def _find_or_say(home: Home, now_ms: int, stamp: str) -> None:
    """What cannot be found is kept with its reason, so that it is not tried at every look."""
    try:
        find(home, now_ms)
    except WarmcoilError as fault:
        keep(home, AllMeals(stamp, now_ms, 0.0, fault=str(fault)))
        raise


if __name__ == "__main__":
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.alarm(_LONGEST_SECONDS)  # ended by the kernel, whatever it hangs on
    os.nice(_POLITE)
    sys.exit(main())
