"""What every archive does, whichever keeps the readings. A new one is added to ARCHIVES."""

from __future__ import annotations

import math
import random
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.readings import AS_READ, Quantity, Reading, SeriesKey
from collector.store.archive import Archive, Span, Written
from collector.store.columns import DAY_MS, Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.influx_lasting import LastingArchive
from collector.store.sqlite_archive import SqliteArchive
from tests.collector.store.series import COOL, DAY_0_MS, KEYS, WARM, few_days, readings
from tests.influx import database, the_server

Opener = Callable[[], Archive]
"""Opens the same archive, again and again."""
Place = Callable[[], AbstractContextManager[Opener]]


@contextmanager
def sqlite_place() -> Iterator[Opener]:
    with tempfile.TemporaryDirectory() as folder:
        yield lambda: SqliteArchive(Path(folder) / "archive.db")


@contextmanager
def influx_place() -> Iterator[Opener]:
    with database(the_server()) as settings:
        # Few rows at once: a window then takes several questions.
        yield lambda: InfluxArchive(settings, rows_at_once=7)


@contextmanager
def two_buckets() -> Iterator[Opener]:
    with database(the_server()) as settings, database(the_server()) as lasting:
        both = settings.model_copy(update={"lasting_bucket": lasting.bucket})
        yield lambda: LastingArchive(both, rows_at_once=7)


ARCHIVES: dict[str, Place] = {
    "sqlite": sqlite_place,
    "influxdb": influx_place,
    "influxdb with a lasting bucket": two_buckets,
}

every_archive = pytest.mark.parametrize("place", ARCHIVES.values(), ids=list(ARCHIVES))
Law = Callable[..., None]

SHARE = 12
"""A server takes a dozen requests and syncs where a file takes one: fewer examples."""


def a_law(examples: int, **given_: st.SearchStrategy[Any]) -> Callable[[Law], Law]:
    """A test with examples by hypothesis, as many as the archive can do in the time there is."""

    def for_every_archive(law: Law) -> Law:
        def checked(place: Place, most: int) -> None:
            @given(**given_)
            @settings(max_examples=most, deadline=None, database=None)
            def held(**some: Any) -> None:
                law(place, **some)

            held()

        @every_archive
        def test(place: Place) -> None:
            checked(place, examples if place is sqlite_place else examples // SHARE)

        test.__name__ = law.__name__
        test.__doc__ = law.__doc__
        return test

    return for_every_archive


# Days before 1970 too: a day number is rounded down, not towards zero.
times = st.one_of(few_days, st.integers(-2 * DAY_MS, 2 * DAY_MS), st.integers(0, 30))
batches = st.lists(st.lists(readings(times), max_size=25), max_size=5)

EVER = (-(2**62), 2**62)


def kept(archive: Archive) -> list[Reading]:
    return [one for key in KEYS for one in archive.columns(key, *EVER).readings(key)]


def union(some: list[list[Reading]]) -> list[Reading]:
    """What an archive has to keep: of each series and time, the reading that came first."""
    firsts: dict[tuple[SeriesKey, int], Reading] = {}
    for batch in some:
        for one in batch:
            firsts.setdefault((one.key, one.at_ms), one)
    return sorted(firsts.values(), key=lambda one: (KEYS.index(one.key), one.at_ms))


@a_law(60, some=batches)
def test_it_keeps_the_union_and_the_first_of_a_time_stays(
    place: Place, some: list[list[Reading]]
) -> None:

    with place() as opened:
        seen: set[tuple[SeriesKey, int]] = set()
        for batch in some:
            columns = Columns.of(batch)
            new = {(one.key, one.at_ms) for one in batch} - seen
            with closing(opened()) as archive:  # opened anew: what was written is there for good
                written = archive.write(columns)
            assert written.new == len(new)
            assert written.known + written.differing == sum(map(len, columns.values())) - len(new)
            seen |= new
        with closing(opened()) as archive:
            assert kept(archive) == union(some)


@a_law(40, some=st.lists(readings(times), max_size=40), rng=st.randoms(), parts=st.integers(1, 5))
def test_order_and_split_do_not_matter(
    place: Place, some: list[Reading], rng: random.Random, parts: int
) -> None:

    whole = union([some])
    shuffled = whole[:]
    rng.shuffle(shuffled)
    with place() as opened, closing(opened()) as archive:
        for part in range(parts):
            archive.write(Columns.of(shuffled[part::parts]))
        assert kept(archive) == whole


@a_law(40, some=st.lists(readings(times), max_size=30))
def test_the_same_again_changes_nothing(place: Place, some: list[Reading]) -> None:
    columns = Columns.of(some)
    count = sum(map(len, columns.values()))
    with place() as opened, closing(opened()) as archive:
        assert archive.write(columns) == Written(new=count)
        before = kept(archive)
        assert archive.write(columns) == Written(known=count)
        assert kept(archive) == before


@a_law(40, some=st.lists(readings(st.integers(0, 30)), max_size=30))
def test_another_value_at_the_same_time_is_counted_and_not_taken(
    place: Place, some: list[Reading]
) -> None:

    columns = Columns.of(some)
    other = {key: twisted(one) for key, one in columns.items()}
    with place() as opened, closing(opened()) as archive:
        archive.write(columns)
        before = kept(archive)
        assert archive.write(other) == Written(differing=sum(map(len, other.values())))
        assert kept(archive) == before


def twisted(one: Columns) -> Columns:
    unlike = (-value - 1 if value >= 0 else 1 - value for value in one.values())
    return Columns.ordered(one.at_ms, unlike, one.flags)


@a_law(60, some=st.lists(readings(times), max_size=40), start_ms=times, end_ms=times)
def test_a_window_has_its_start_and_not_its_end(
    place: Place, some: list[Reading], start_ms: int, end_ms: int
) -> None:

    with place() as opened, closing(opened()) as archive:
        archive.write(Columns.of(some))
        for key in KEYS:
            window = list(archive.columns(key, start_ms, end_ms).readings(key))
            assert window == [
                one for one in union([some]) if one.key == key and start_ms <= one.at_ms < end_ms
            ]


@every_archive
def test_a_window_that_begins_with_the_unix_epoch(place: Place) -> None:
    at_ms = [*range(-14, 2), 1_728_000_000_000]
    with place() as opened, closing(opened()) as archive:
        archive.write({WARM: Columns.ordered(at_ms, [20.0] * len(at_ms))})
        assert list(archive.columns(WARM, -7, 1).at_ms) == list(range(-7, 1))
        assert list(archive.columns(WARM, 0, at_ms[-1]).at_ms) == [0, 1]
        assert list(archive.columns(WARM, -1, 0).at_ms) == [-1]


@a_law(40, some=st.lists(readings(times), max_size=30))
def test_spans_tell_what_is_there(place: Place, some: list[Reading]) -> None:
    columns = Columns.of(some)
    with place() as opened, closing(opened()) as archive:
        archive.write(columns)
        assert archive.series() == {
            key: Span(len(one), one.at_ms[0], one.at_ms[-1]) for key, one in columns.items()
        }


@every_archive
@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_batch_is_taken_whole_or_not_at_all(place: Place, value: float) -> None:
    good = Columns.ordered([DAY_0_MS], [31.0])
    with place() as opened, closing(opened()) as archive:
        archive.write({COOL: good})
        with pytest.raises(ValueError, match="finite"):
            archive.write({WARM: good, COOL: Columns.ordered([1, DAY_0_MS + 1], [20.0, value])})
        assert kept(archive) == list(good.readings(COOL))
        assert archive.write({WARM: good}) == Written(new=1)


@every_archive
def test_readings_out_of_order_are_refused(place: Place) -> None:
    wrong = Columns.ordered([DAY_0_MS, DAY_0_MS + 1], [31.0, 31.0])
    wrong.at_ms.reverse()
    with place() as opened, closing(opened()) as archive:
        with pytest.raises(ValueError, match="order"):
            archive.write({WARM: wrong})
        assert kept(archive) == []


@every_archive
def test_nothing_and_a_stranger(place: Place) -> None:
    with place() as opened, closing(opened()) as archive:
        assert archive.write({}) == Written()
        assert archive.write({WARM: Columns()}) == Written()
        assert archive.series() == {}
        assert len(archive.columns(SeriesKey("nobody", Quantity.HUMIDITY), *EVER)) == 0
        assert len(archive.columns(WARM, 5, 5)) == len(archive.columns(WARM, 5, 4)) == 0


@every_archive
def test_the_same_probe_in_two_quantities_is_two_series(place: Place) -> None:
    damp = SeriesKey(WARM.probe, Quantity.HUMIDITY)
    one = Columns.ordered([DAY_0_MS], [31.0], corrections=[AS_READ])
    two = Columns.ordered([DAY_0_MS], [70.0])
    with place() as opened, closing(opened()) as archive:
        archive.write({WARM: one, damp: two})
        assert archive.columns(WARM, *EVER) == one
        assert archive.columns(damp, *EVER) == two
