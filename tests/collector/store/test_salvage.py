"""Rows of a table whose keys are not in order, as damage leaves them."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import closing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.store.salvage import Strayed, Table, astray, salvaged_series

DAYS = Table("block", "day, packed", of=("series_id", 4), lowest=-(2**40), highest=2**40)
ENTRIES = Table("entry", "id, packed", lowest=0, highest=2**40)


@pytest.fixture
def file() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
        yield made


def upside_down(file: sqlite3.Connection, days: int) -> None:
    """Keys that stand the wrong way round, which no part of SQLite notices while it reads."""
    file.execute(
        "CREATE TABLE block (series_id, day, packed, PRIMARY KEY (series_id DESC, day)) "
        "WITHOUT ROWID"
    )
    rows = [(series, day, day * 7 + series) for series in (3, 4, 5) for day in range(days)]
    file.executemany("INSERT INTO block VALUES (?, ?, ?)", rows)
    file.execute("PRAGMA writable_schema = ON")
    file.execute("UPDATE sqlite_master SET sql = replace(sql, ' DESC', '')")
    version = file.execute("PRAGMA schema_version").fetchone()[0]
    file.execute(f"PRAGMA schema_version = {version + 1}")


@pytest.mark.parametrize("days", [3, 30, 3_000])
def test_keys_in_the_wrong_order_hide_no_row(file: sqlite3.Connection, days: int) -> None:
    upside_down(file, days)
    everything = [(day, day * 7 + 4) for day in range(days)]
    found = "SELECT day, packed FROM block WHERE series_id = 4 AND day >= 0 ORDER BY day"
    assert file.execute(found).fetchall() != everything  # a search for a key is misled
    salvaged = DAYS.rows(file)
    assert salvaged.rows == everything
    assert salvaged.twice == []
    assert salvaged.hidden is not None


def test_rows_of_another_series_where_this_one_was_are_not_taken_for_it(
    file: sqlite3.Connection,
) -> None:
    """From where a search begins SQLite looks at no more than whether a row is beyond its end."""
    file.execute("PRAGMA page_size = 512")
    file.execute(
        "CREATE TABLE block (series_id, day, packed, PRIMARY KEY (series_id, day)) WITHOUT ROWID"
    )
    file.executemany(
        "INSERT INTO block VALUES (?, ?, ?)",
        [(series, day, f"{series}" * 50) for series in (3, 4) for day in range(100, 150)],
    )
    content = bytearray(file.serialize())
    pages = [at for at in range(512, len(content), 512) if content[at] == 10]
    other = next(at for at in pages if b"3" * 50 in content[at : at + 512])
    own = [at for at in pages if b"4" * 50 in content[at : at + 512]][3]
    content[own : own + 512] = content[other : other + 512]
    file.deserialize(bytes(content))
    salvaged = DAYS.rows(file)
    assert len(salvaged.rows) > 30
    assert {packed for _, packed in [*salvaged.rows, *salvaged.twice]} == {"4" * 50}


def test_a_table_that_is_whole_hides_nothing(file: sqlite3.Connection) -> None:
    file.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, packed)")
    file.executemany("INSERT INTO entry VALUES (?, ?)", [(3, "a"), (9, "b")])
    assert ENTRIES.rows(file) == ([(3, "a"), (9, "b")], [], None)


def test_a_number_that_two_rows_have_hides_neither(file: sqlite3.Connection) -> None:
    file.execute("CREATE TABLE entry (id INTEGER, packed)")
    rows = [(3, "a"), (3, "b"), (4, "c"), (3, "b"), ("x", "d")]
    file.executemany("INSERT INTO entry VALUES (?, ?)", rows)
    salvaged = ENTRIES.rows(file)
    assert [key for key, _ in salvaged.rows] == [3, 4]
    assert {*salvaged.rows, *salvaged.twice} == set(rows)


def test_series_of_which_table_or_index_is_gone_may_be_others(file: sqlite3.Connection) -> None:
    assert salvaged_series(file, "probe, quantity") == ({}, False)
    file.execute(
        "CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT, quantity TEXT, "
        "UNIQUE (probe, quantity))"
    )
    assert salvaged_series(file, "probe, quantity") == ({}, True)


@given(
    keys=st.sets(st.tuples(st.integers(1, 3), st.integers(0, 9)), max_size=20).map(sorted),
    hit=st.integers(0, 19),
    becomes=st.tuples(st.integers(1, 3), st.integers(0, 9)),
)
def test_of_one_key_that_was_hit_one_row_is_astray_or_the_order_holds(
    keys: list[tuple[int, int]], hit: int, becomes: tuple[int, int]
) -> None:
    rows = [Strayed(*key, place) for place, key in enumerate(keys)]
    if hit < len(rows):
        rows[hit] = Strayed(*becomes, hit)
    found = astray(rows)
    left = [row[:2] for row in rows if row not in found]
    assert left == sorted(left)
    assert len(found) <= 1
    assert bool(found) == ([row[:2] for row in rows] != sorted(row[:2] for row in rows))


def test_the_first_day_of_a_series_under_the_number_of_the_one_before() -> None:
    """One bit. The day is in its block too, and the number of the series nowhere else."""
    rows = [(series, day, b"%d" % (10 * series + day)) for series in (1, 2) for day in (5, 6, 7)]
    rows[3] = (1, 5, rows[3][2])
    keys = [Strayed(series, day, zlib.crc32(packed)) for series, day, packed in rows]
    assert astray(keys) == {keys[3]}
