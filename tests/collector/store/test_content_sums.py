"""The sums of rows do not depend on the Python that reckons them."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing

from hypothesis import given
from hypothesis import strategies as st

from collector.store.content_sums import STEP, keep_sums, renew_sums, sum_faults

cells = st.one_of(
    st.none(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    st.text(st.characters(exclude_categories=["Cs"])),
    st.binary(),
)


def table(connection: sqlite3.Connection) -> None:
    connection.execute(STEP[0])
    connection.execute("CREATE TABLE t (a, b)")
    renew_sums(connection)
    keep_sums(connection)


def test_a_text_that_only_a_newer_unicode_can_print_has_a_sum_of_its_escapes() -> None:
    """U+1FAE8 came with Unicode 15: Python 3.11 escapes it in repr, 3.12 prints it."""
    with closing(sqlite3.connect(":memory:")) as connection:
        table(connection)
        connection.execute("INSERT INTO t VALUES (?, ?)", ("shy tüb \U0001fae8", 1.5))
        (kept,) = connection.execute("SELECT value FROM content_sum WHERE name = 't'").fetchone()
    spelt = b"('shy t\\xfcb \\U0001fae8', 1.5)"
    digest = hashlib.blake2b(spelt, digest_size=8).digest()
    assert kept == int.from_bytes(digest, "big") % 2**63


@given(st.lists(st.tuples(cells, cells), max_size=6), st.data())
def test_kept_row_by_row_they_are_those_of_the_whole(
    rows: list[tuple[object, object]], data: st.DataObject
) -> None:
    with closing(sqlite3.connect(":memory:")) as connection:
        table(connection)
        connection.executemany("INSERT INTO t VALUES (?, ?)", rows)
        for number in data.draw(st.lists(st.integers(1, 6), max_size=3)):
            connection.execute("UPDATE t SET b = ? WHERE rowid = ?", (data.draw(cells), number))
            connection.execute("DELETE FROM t WHERE rowid = ?", (number + 1,))
        assert list(sum_faults(connection)) == []
        connection.execute('DROP TRIGGER "sum INSERT t"')
        connection.execute("INSERT INTO t VALUES (1, 2)")
        assert list(sum_faults(connection)) == ["t: something in it is not as it was written"]
