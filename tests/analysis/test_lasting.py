"""An InfluxDB whose first bucket lets go of old readings: what must last was copied before."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from analysis.review import review_all
from analysis.thinning import keep_what_lasts
from collector.book.book import Book
from collector.clock import Clock
from collector.rfc3339 import parse
from collector.store.columns import DAY_MS
from collector.store.hours import hours_of
from collector.store.influx_lasting import LastingArchive
from collector.store.influx_text import lines_of
from collector.store.moving import KeepsHours, move_hours
from collector.store.opening import open_reader
from collector.store.sqlite_archive import SqliteArchive
from collector.store.thinning import raw_days, thin
from config.home import Home
from config.settings import Archive, load_settings
from tests.analysis.test_thinning import CARE, NOW_MS, Seen, make_home, seen
from tests.collector.store.series import WARM, believable
from tests.influx import database, the_server

EVER = (-(2**62), 2**62)


@contextmanager
def two_buckets(keeps: str = "INF") -> Iterator[Archive]:
    with database(the_server(), keeps) as first, database(the_server()) as lasting:
        yield first.model_copy(update={"lasting_bucket": lasting.bucket})


def let_go(settings: Archive, before_ms: int) -> None:
    """Drop the first bucket's oldest shards, as its retention would."""
    name = str(settings.bucket).partition("/")[0]
    for table in the_server().ask("SHOW SHARDS"):
        rows = [dict(zip(table["columns"], row, strict=True)) for row in table.get("values", [])]
        for shard in rows:
            if shard["database"] == name and parse(shard["end_time"]) <= before_ms:
                the_server().ask(f"DROP SHARD {shard['id']}")


def of_home(home: Home) -> Seen:
    settings = load_settings(home)
    with Book(home.book, read_only=True) as book, open_reader(home, settings) as reader:
        return seen(book, reader, settings, NOW_MS)


def copied(home: Home, *, only_count: bool = False) -> tuple[int, int]:
    clock = Clock(now_ms=lambda: NOW_MS, synchronised=lambda: False)
    done = keep_what_lasts(home, load_settings(home), clock, only_count=only_count)
    return done.hours, done.raw


@pytest.mark.timeout(400)
def test_no_review_changes_when_the_first_bucket_lets_go(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", 1)
    with closing(SqliteArchive(home.archive, read_only=True)) as file:
        every = {
            key: file.columns(key, NOW_MS - 75 * DAY_MS, NOW_MS)
            for key in file.series()
            if key.probe in {"one", "room"}
        }
    with two_buckets() as settings, closing(LastingArchive(settings)) as archive:
        home.settings.write_text(
            f'[archive]\nkind = "influxdb"\nurl = "{settings.url}"\nbucket = "{settings.bucket}"\n'
            f'lasting_bucket = "{settings.lasting_bucket}"\n'
        )
        archive.send(line for key in every for line in lines_of(key, every[key]))
        before, spans = of_home(home), archive.series()
        would = copied(home, only_count=True)
        assert copied(home) == would
        assert min(would) > 0
        assert copied(home) == (0, 0)
        assert archive.series() == spans, "each reading once, though some are in both"
        assert of_home(home) == before
        let_go(settings, NOW_MS - 60 * DAY_MS)
        assert of_home(home) == before
        assert copied(home) == (0, 0)
        for key, span in archive.series().items():
            assert (span.count + span.thinned, span.last_ms) == (
                len(every[key]), spans[key].last_ms
            )  # fmt: skip
            assert span.thinned > 0
            days = (day for _, day in every[key].cut(0, NOW_MS - DAY_MS).days())
            hours = [hour for day in days for hour in hours_of(day, 900_000.0)]
            assert archive.hours(key, *EVER) == hours
        with (
            Book(home.book, read_only=True) as book,
            open_reader(home, load_settings(home)) as reader,
        ):
            reviews = review_all(book, reader, CARE, load_settings(home), NOW_MS)
        assert [json.dumps(one.as_json()) for one in reviews] == before.reviews


def test_what_the_first_bucket_refuses_goes_to_the_lasting_one() -> None:
    """It keeps a week; the readings are of years ago."""
    some = {WARM: believable(50)}
    with two_buckets("1w") as settings, closing(LastingArchive(settings)) as archive:
        assert archive.write(some).new == 50
        assert archive.columns(WARM, *EVER) == some[WARM]
        assert archive.lasting.columns(WARM, *EVER) == some[WARM]
        assert archive.write(some).known == 50
        assert archive.series()[WARM].count == 50


def test_hours_are_carried_from_the_file_and_back(tmp_path: Path) -> None:
    path, back = tmp_path / "archive.db", tmp_path / "back.db"
    with closing(SqliteArchive(path)) as file:
        file.write({WARM: believable(800, every_ms=300_000)})
    thin(path, raw_days(path)[:2], 900_000.0)
    with (
        closing(SqliteArchive(path, read_only=True)) as file,
        two_buckets() as settings,
        closing(LastingArchive(settings)) as archive,
        closing(SqliteArchive(back)) as new,
    ):
        assert isinstance(file, KeepsHours)
        assert move_hours(file.series(), file, archive) == 48
        archive.write({WARM: file.columns(WARM, *EVER)})
        assert archive.hours(WARM, *EVER) == file.hours(WARM, *EVER)
        assert archive.series() == file.series()
        assert move_hours(archive.series(), archive, new) == 48
        assert new.hours(WARM, *EVER) == file.hours(WARM, *EVER)
        assert not new.columns(WARM, *EVER)
