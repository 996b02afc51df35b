"""Measures the page: `python -m tests.benchmarks.page [FOLDER] [--enclosures N] [--asked N]`.

The page's own process over some 60 million readings and 750 meals, asked over HTTP on this
machine as a browser asks, one request after the other, each for another meal. Milliseconds are
from sending the request to the last byte of the answer. The beginning of the series is on disk in
the archive; the day that has begun is in the journal, as the collector leaves it.
"""

from __future__ import annotations

import argparse
import random
import re
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path

from collector.readings import Quantity, Reading
from collector.store.columns import DAY_MS
from collector.store.journal import Journal
from config.home import Home
from tests.benchmarks.figures import Line, figure, forget_cached, say
from tests.benchmarks.judging import EVERY_MS, MEALS_EACH, START_MS, furnish
from tests.page_process import PageProcess

GOAL_MS = 300
_HOUR_MS = 3_600_000
_FILE = re.compile(rb'(?:src|href)="(/static/[^"]+)"')


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.page")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--enclosures", type=int, default=5)
    parser.add_argument("--asked", type=int, default=100)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        home = Home(Path(folder) / "home")
        now_ms = time.time_ns() // 1_000_000
        readings = furnish(home, given.enclosures, (now_ms - START_MS) // DAY_MS)
        readings += begin_today(home, given.enclosures, now_ms)
        forget_cached(home.folder)
        for line in measured(home, given.enclosures * MEALS_EACH, given.asked):
            say({**line, "readings": readings})


def begin_today(home: Home, enclosures: int, now_ms: int) -> int:
    """The day that has begun, in the journal; how many readings that is."""
    series = [
        (f"{side}-{one}", level)
        for one in range(enclosures)
        for side, level in (("warm", 31.0), ("cool", 26.0))
    ]
    count = 0
    with closing(Journal(home.journal)) as journal:
        for hour_ms in range(now_ms // DAY_MS * DAY_MS, now_ms, _HOUR_MS):
            batch = [
                Reading(probe, Quantity.TEMPERATURE, at_ms, level + at_ms // EVERY_MS % 9 / 16)
                for at_ms in range(hour_ms, min(hour_ms + _HOUR_MS, now_ms), EVERY_MS)
                for probe, level in series
            ]
            journal.commit(batch)
            count += len(batch)
    return count


def measured(home: Home, meals: int, asked: int) -> Iterator[Line]:
    """Ask the page for everything that a keeper waits for."""
    chosen = random.Random(7).sample(range(1, meals + 1), min(asked, meals))
    with PageProcess(home) as page:
        yield figure("resident memory of the page, idle", page.resident_mb(), "MB")
        browser = Browser(page.port)
        first_ms, _ = browser.ask("/")
        yield figure("first screen, the very first time", first_ms, "ms")
        kinds: dict[str, Callable[[int], str]] = {
            "meal page": lambda meal: f"/meal/{meal}",
            "a meal's plot": lambda meal: f"/api/meals/{meal}/plot?columns=1200",
            "a closer look, a day": lambda meal: (
                f"/api/meals/{meal}/plot?columns=1200&from=24&to=48"
            ),
            "earlier meals laid under": lambda meal: f"/api/meals/{meal}/earlier",
            "first screen": lambda _: "/",
            "animals": lambda _: "/animals",
        }
        for what, address in kinds.items():
            yield from browser.times(what, [address(meal) for meal in chosen])
        yield from browser.bytes_of("meal page", "/meal/1", "/api/meals/1/plot?columns=1200")
        yield from browser.bytes_of("first screen", "/")
        yield figure("resident memory of the page, after all that", page.resident_mb(), "MB")


class Browser:
    """Asks as a browser does: one connection, packed answers."""

    def __init__(self, port: int) -> None:
        self._connection = HTTPConnection("127.0.0.1", port, timeout=120)

    def ask(self, address: str, packed: bool = True) -> tuple[float, bytes]:
        """Milliseconds, and the answer as it was transferred."""
        headers = {"accept-encoding": "gzip" if packed else "identity"}
        began = time.perf_counter()
        self._connection.request("GET", address, headers=headers)
        answer = self._connection.getresponse()
        body = answer.read()
        took_ms = (time.perf_counter() - began) * 1_000
        if answer.status != 200:
            raise SystemExit(f"{address} answers {answer.status}: {body[:200]!r}")
        return took_ms, body

    def times(self, what: str, addresses: list[str]) -> Iterator[Line]:
        """The middle and the slow end of many."""
        took = sorted(self.ask(address)[0] for address in addresses)
        for share, goal in ((50, None), (95, f"≤ {GOAL_MS}")):
            value = took[min(len(took) - 1, len(took) * share // 100)]
            yield figure(f"{what}, p{share}", value, "ms", goal=goal, asked=len(took))

    def bytes_of(self, what: str, address: str, *later: str) -> Iterator[Line]:
        """What is transferred the first time, and again; beside it, what it would be unpacked."""
        _, page = self.ask(address, packed=False)
        files = [one.decode() for one in dict.fromkeys(_FILE.findall(page))]
        every = [address, *later, *files]
        whole = sum(len(self.ask(one)[1]) for one in every)
        plain = sum(len(self.ask(one, packed=False)[1]) for one in every)
        again = sum(len(self.ask(one)[1]) for one in (address, *later))
        yield figure(
            f"transferred for the {what}, the first time", whole / 1_000, "kB",
            beside={"without compression": plain / 1_000}, files=len(files),
        )  # fmt: skip
        yield figure(f"transferred for the {what}, again", again / 1_000, "kB")


if __name__ == "__main__":
    main()
