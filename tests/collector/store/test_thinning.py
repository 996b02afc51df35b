"""Raw days become hours: nothing else changes, and again changes nothing."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.readings import SeriesKey
from collector.store.archive import ArchiveAway
from collector.store.check import check_archive
from collector.store.columns import DAY_MS, Columns
from collector.store.hours import Hour, hours_of, merged
from collector.store.reader import Reader
from collector.store.repair import repair
from collector.store.sqlite_archive import SqliteArchive
from collector.store.thinning import RawDay, Thinned, raw_days, thin
from tests.collector.store.series import COOL, DAMP, DAY_0_MS, WARM, believable, columns, few_days

GAP_MS = 900_000.0
EVER = (-(2**62), 2**62)
DAY_0 = DAY_0_MS // DAY_MS

Store = dict[SeriesKey, tuple[Columns, list[Hour]]]


def by_day(some: Columns) -> list[Hour]:
    return [hour for _, day in some.days() for hour in hours_of(day, GAP_MS)]


def seen(archive: Path) -> Store:
    """All that a reader sees."""
    with Reader(archive.with_name("journal.db"), archive) as reader:
        return {
            key: (reader.columns(key, *EVER), reader.hours(key, *EVER)) for key in reader.series()
        }


def write(archive: Path, readings: dict[SeriesKey, Columns]) -> None:
    with closing(SqliteArchive(archive)) as file:
        file.write(readings)


def thin_before(archive: Path, day: int) -> Thinned:
    return thin(archive, [one for one in raw_days(archive) if one.day < day], GAP_MS)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """Four days of two probes and one of a third."""
    path = tmp_path / "archive.db"
    some = believable(4 * 288, every_ms=300_000, jitter_ms=90)
    some.flags[40] = 8
    write(path, {WARM: some, COOL: some.slice(0, 1000), DAMP: some.slice(0, 288)})
    return path


def test_old_days_become_hours_and_the_others_stay(archive: Path) -> None:
    before = seen(archive)
    done = thin_before(archive, DAY_0 + 2)
    assert (done.days, done.readings, done.damaged) == (5, 5 * 288, [])
    after, cut_ms = seen(archive), DAY_0_MS + 2 * DAY_MS
    for key, (raw, _) in before.items():
        assert after[key][0] == raw.cut(cut_ms, EVER[1])
        assert after[key][1] == by_day(raw.cut(EVER[0], cut_ms))
    assert check_archive(archive) == []
    assert thin_before(archive, DAY_0 + 2) == Thinned()
    assert seen(archive) == after


def test_a_series_still_says_what_it_had(archive: Path) -> None:
    thin_before(archive, DAY_0 + 2)
    with Reader(archive.with_name("journal.db"), archive) as reader:
        span = reader.series()[WARM]
    assert (span.count, span.thinned) == (2 * 288, 2 * 288)
    assert span.first_ms == DAY_0_MS


@given(columns(few_days), st.integers(0, 59), st.integers(1, 5))
@settings(deadline=None, max_examples=15)
def test_what_comes_late_is_kept_and_what_comes_again_changes_nothing(
    tmp_path_factory: pytest.TempPathFactory, some: Columns, first: int, days: int
) -> None:
    """In two parts with a thinning between, or again: the hours are those of the parts merged."""
    archive = tmp_path_factory.mktemp("late") / "archive.db"
    rest = DAY_0 + days
    one, other = some.slice(0, first % len(some)), some.slice(first % len(some), len(some))
    for part in (one, other):
        write(archive, {WARM: part})
        if part:
            raw, hours = seen(archive)[WARM]
            assert part.without(raw) == Columns(), "late readings are seen raw until then"
        thin_before(archive, rest)
    raw, hours = seen(archive)[WARM]
    old = [part.cut(EVER[0], rest * DAY_MS) for part in (one, other)]
    assert raw == some.cut(rest * DAY_MS, EVER[1])
    assert hours == merged(*map(by_day, old))
    write(archive, {WARM: one})
    thin_before(archive, rest)
    assert seen(archive)[WARM] == (raw, hours)
    assert check_archive(archive) == []


def test_readings_that_come_between_look_and_commit_are_left_for_the_next_run(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sealing puts a late reading into a day while its hours are being reckoned."""
    late = Columns.ordered([DAY_0_MS + 77], [99.0])
    reckon: Callable[[Columns, float], list[Hour]] = hours_of

    def slowly(some: Columns, gap_ms: float) -> list[Hour]:
        write(archive, {WARM: late})
        return reckon(some, gap_ms)

    monkeypatch.setattr("collector.store.thinning.hours_of", slowly)
    assert thin_before(archive, DAY_0 + 1).days == 2
    monkeypatch.undo()
    assert seen(archive)[WARM][0].cut(DAY_0_MS, DAY_0_MS + DAY_MS).raw[1] == 99.0
    assert thin_before(archive, DAY_0 + 1).days == 1
    assert seen(archive)[WARM][1][0].high == 99.0


def test_a_damaged_day_stays_and_is_named(archive: Path) -> None:
    with closing(sqlite3.connect(archive)) as file:
        file.execute("UPDATE block SET crc32 = 1 WHERE day = ? AND series_id = 1", (DAY_0,))
        file.commit()
    done = thin_before(archive, DAY_0 + 1)
    assert done.days == 2
    assert done.damaged == [
        f"{WARM.probe} temperature, 2024-10-04: a damaged block: its checksum does not fit"
    ]
    assert any(one.day == DAY_0 for one in raw_days(archive))


def test_another_writer_is_waited_for_and_then_said(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.store.thinning._WAIT_S", 0.05)
    with closing(sqlite3.connect(archive, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveAway, match="another process writes to it; try again"):
            thin_before(archive, DAY_0 + 1)
        other.execute("ROLLBACK")


def test_it_stops_when_it_is_asked_to(archive: Path) -> None:
    before = seen(archive)
    assert thin(archive, raw_days(archive), GAP_MS, lambda: True) == Thinned()
    assert seen(archive) == before
    assert thin(archive, [RawDay(9, WARM, 1, 1, 1)], GAP_MS) == Thinned()


def test_without_an_archive_there_is_nothing(tmp_path: Path) -> None:
    assert raw_days(tmp_path / "archive.db") == []


def test_damaged_hours_are_named_passed_over_and_the_rest_is_saved(archive: Path) -> None:
    thin_before(archive, DAY_0 + 2)
    whole = seen(archive)
    with closing(sqlite3.connect(archive)) as file:
        (packed,) = file.execute(
            "SELECT packed FROM hours WHERE day = ? AND series_id = 1", (DAY_0,)
        ).fetchone()
        spoilt = packed[:-1] + bytes([packed[-1] ^ 1])
        file.execute(
            "UPDATE hours SET packed = ?, crc32 = ? WHERE day = ? AND series_id = 1",
            (spoilt, zlib.crc32(spoilt), DAY_0),
        )
        file.commit()
    (fault,) = check_archive(archive)
    assert fault.startswith(f"{archive}: {WARM.probe} temperature, 2024-10-04: damaged hours")
    assert seen(archive)[WARM][1] == whole[WARM][1][24:]
    lost, mended = repair(archive.with_name("journal.db"), archive)
    assert lost == f"lost: {WARM.probe} temperature by the hour, 2024-10-04"
    assert mended.startswith(f"{archive}: mended")
    after = seen(archive)
    assert after[WARM] == (whole[WARM][0], whole[WARM][1][24:])
    assert after[COOL] == whole[COOL]
    assert check_archive(archive) == []
