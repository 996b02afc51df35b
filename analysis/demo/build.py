"""Building a demo home: the story as CSV files, taken in as a keeper's own would be.

It is built beside its place and moved there when it is whole: what was interrupted leaves nothing.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

from rich.progress import Progress, TaskID

from analysis.demo.calendar import MINUTE_MS, Calendar
from analysis.demo.history import PARTS
from analysis.demo.meals import Offer
from analysis.demo.places import DemoPlaces
from analysis.demo.records import write_records
from analysis.demo.settings import demo_settings
from analysis.demo.story import Story, write_story
from analysis.demo.tour import save_highlights
from analysis.demo.writers import Writers
from collector.book.book import Book
from collector.book.records import Meal, Record
from collector.exchange import import_file
from collector.service import only_one
from collector.store.sqlite_archive import SqliteArchive
from config.errors import Unusable
from config.home import Home
from config.settings import load_settings
from hardware.rack.broker import free_port, prepare_broker

SEED = 7
FULL_DAYS = 400
WHO = "demo"


def build_home(
    home: Home,
    *,
    days: int = FULL_DAYS,
    seed: int = SEED,
    now_ms: int | None = None,
    broker_search: str | None = None,
    progress: Progress | None = None,
) -> Story:
    """Make the demo home at `home`, with `days` days of history that end now; return its story.

    Raises Unusable or NotSo when the folder is taken, and NotSo when no broker can be had (looked
    for on `broker_search`, default PATH).
    """
    folder = home.folder.absolute()
    if DemoPlaces(home).are_built():
        raise Unusable(f"{folder} is a demo home that is built already")
    folder.parent.mkdir(parents=True, exist_ok=True)
    ends_ms = now_ms if now_ms is not None else time.time_ns() // 1_000_000
    story = write_story(Calendar(ends_ms // MINUTE_MS * MINUTE_MS, days), seed)
    with _scaffold(folder) as staging, progress or Progress(disable=True) as shown:
        builder = _Builder(Home(staging), folder, story, shown)
        builder.lay_ground(broker_search)
        builder.take_records()
        builder.take_readings()
        save_highlights(story.highlights, builder.places.highlights)
        if folder.exists():
            folder.rmdir()  # it is empty; renaming onto it would do, but not everywhere
        staging.rename(folder)
    return story


@contextmanager
def _scaffold(folder: Path) -> Iterator[Path]:
    """A folder beside `folder` to build in; gone at the end, whatever happened."""
    lock = folder.with_name(f".{folder.name}.lock")
    staging = folder.with_name(f".{folder.name}.building")
    with only_one(lock, "demo"):
        shutil.rmtree(staging, ignore_errors=True)  # left by one that was killed
        staging.mkdir()
        try:
            yield staging
        finally:
            shutil.rmtree(staging, ignore_errors=True)
            lock.unlink(missing_ok=True)


class _Builder:
    """One build under way."""

    def __init__(self, home: Home, final: Path, story: Story, shown: Progress) -> None:
        self._home = home
        self._final = DemoPlaces(Home(final))
        self._story = story
        self._shown = shown
        self.places = DemoPlaces(home)

    def lay_ground(self, broker_search: str | None) -> None:
        """Settings, the rack's layout, and the folders."""
        self.places.records.mkdir(parents=True)
        self._home.readings.mkdir()
        port = free_port()
        broker = prepare_broker(self.places.broker, port, broker_search)
        text = demo_settings(
            self._story,
            serial=self._final.serial,
            broker=broker,
            broker_port=port,
            page_port=free_port(),
        )
        self._home.settings.write_text(text, encoding="utf-8")
        self.places.layout.write_text(self._story.layout_now().toml(), encoding="utf-8")

    def take_records(self) -> None:
        """Write the records as CSV and import them; what has no CSV by hand."""
        settings = load_settings(self._home)
        files = write_records(self._story, self.places.records)
        task = self._shown.add_task("records", total=len(files))
        with (
            Book(self._home.book, who=WHO) as book,
            closing(SqliteArchive(self._home.archive)) as archive,
        ):
            for kind, path in files.items():
                import_file(
                    kind, path, book=book, archive=archive, settings=settings,
                    progress=lambda _done, _all: None,
                )  # fmt: skip
                self._shown.advance(task)
            with book.transaction():
                story = self._story
                seen: list[Record] = [*story.sheds, *story.looks, *story.droppings]
                for one in seen:
                    book.put(one)
                for offer in self._story.offers:
                    _put_signs(book, offer)

    def take_readings(self) -> None:
        """Write the readings as CSV, part by part, and import each as soon as it is there."""
        settings = load_settings(self._home)
        writers = Writers(self._story, self.places.folder, self._shown)
        task = self._shown.add_task("taking readings in", total=float(len(PARTS)))
        try:
            with (
                Book(self._home.book, who=WHO) as book,
                closing(SqliteArchive(self._home.archive)) as archive,
            ):
                for taken, path in enumerate(writers.finished()):
                    import_file(
                        "readings",
                        path,
                        book=book,
                        archive=archive,
                        settings=settings,
                        progress=partial(self._moved, writers, task, taken),
                    )
                    path.unlink()  # a hundred megabytes that an export gives back
                    self._shown.update(task, completed=taken + 1)
        finally:
            writers.end()

    def _moved(self, writers: Writers, task: TaskID, taken: int, done: int, of: int) -> None:
        """Part of a file is in: show it, and keep the writers busy meanwhile."""
        self._shown.update(task, completed=taken + done / max(of, 1))
        writers.tend()


def _put_signs(book: Book, offer: Offer) -> None:
    """What was seen beside a meal that came back, added to the meal as it was imported."""
    if offer.signs is None:
        return
    meal = book.stored(Meal(0, offer.kept.animal, offered_at_ms=offer.offered_ms))
    if meal is not None:
        book.put(replace(meal, signs=offer.signs))
