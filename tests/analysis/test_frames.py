"""The numpy way into the store says the same as the plain one, to the last bit."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis import frames
from analysis.frames import decoded, frame, read_table, track
from collector.readings import Quantity, Reading, SeriesKey
from collector.store.codec import pack
from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault
from tests.collector.store.series import (
    DAMP,
    DAY_0_MS,
    KEYS,
    WARM,
    believable,
    columns,
    few_days,
    readings,
)

EVER = (-(2**62), 2**62)


@given(columns())
@example(Columns.ordered([-(2**63), 2**63 - 1], [-0.0, 0.0]))
@example(Columns.ordered([0, 1, 2, 3], [5e-324, -5e-324, 1.7976931348623157e308, -0.0]))
@example(believable(500, jitter_ms=100))
@example(believable(1))
def test_a_block_decodes_to_the_very_same(one: Columns) -> None:
    with np.errstate(over="ignore"):  # a correction may carry the largest doubles beyond
        table = decoded(pack(one))
    assert table.at_ms.tolist() == one.at_ms.tolist()
    assert table.raw.tobytes() == one.raw.tobytes()
    assert table.value.tolist() == one.values().tolist()
    assert table.flags.tolist() == list(one.flags)


@pytest.mark.parametrize("width", [1, 2, 4, 8])
def test_numbers_are_of_this_machine_whatever_order_they_are_written_in(
    width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a machine meets them whose own order is not the file's (a big-endian one)."""
    numbers = [1, 0, 255, 2 ** (8 * width) - 2]
    foreign = ">" if sys.byteorder == "little" else "<"
    order = "big" if sys.byteorder == "little" else "little"
    written = [number.to_bytes(width, order) for number in numbers]
    planes = bytes(octets[plane] for plane in range(width) for octets in written)
    monkeypatch.setattr(frames, "_ORDER", foreign)
    got = frames._unsigned(planes, width)
    assert got.dtype.isnative
    assert got.tolist() == numbers


@given(st.binary(max_size=200))
def test_noise_is_refused(noise: bytes) -> None:
    with pytest.raises(StoreFault):
        decoded(b"\x01" + noise)


@given(st.lists(readings(), max_size=30), st.lists(readings(), max_size=30), few_days, few_days)
@settings(max_examples=40, deadline=None)
def test_tracks_and_frames_are_what_the_reader_says(
    tmp_path_factory: pytest.TempPathFactory,
    in_archive: list[Reading],
    in_journal: list[Reading],
    start_ms: int,
    end_ms: int,
) -> None:
    folder = tmp_path_factory.mktemp("readings")
    with closing(SqliteArchive(folder / "archive.db")) as archive:
        archive.write(Columns.of(in_archive))
    with (
        closing(Journal(folder / "journal.db")) as journal,
        Reader(folder / "journal.db", folder / "archive.db") as reader,
    ):
        journal.commit(in_journal)
        expected = [
            one for key in KEYS for one in reader.columns(key, start_ms, end_ms).readings(key)
        ]
        for key in KEYS:
            usable = [one for one in expected if one.key == key and one.usable]
            got = track(reader, key, start_ms, end_ms)
            assert got.at_ms.tolist() == [one.at_ms for one in usable]
            assert got.value.tolist() == [one.value for one in usable]
        table = frame(reader, KEYS, start_ms, end_ms)
    rows = zip(
        table["probe"], table["quantity"], table.index, table["raw"], table["value"],
        table["flags"], strict=True,
    )  # fmt: skip
    assert list(rows) == [
        (one.probe, one.quantity, pd.Timestamp(one.at_ms, unit="ms", tz="UTC"), one.raw, one.value,
         one.flags)
        for one in expected
    ]  # fmt: skip


def test_an_empty_frame_has_the_columns_of_a_full_one(tmp_path: Path) -> None:
    with closing(SqliteArchive(tmp_path / "archive.db")) as archive:
        archive.write({WARM: believable(10)})
    with Reader(tmp_path / "journal.db", tmp_path / "archive.db") as reader:
        full = frame(reader, [WARM], *EVER)
        for empty in (frame(reader, [], *EVER), frame(reader, [DAMP], *EVER)):
            assert len(empty) == 0
            assert list(empty.columns) == list(full.columns)
            assert list(empty.dtypes) == list(full.dtypes)
            assert empty.index.dtype == full.index.dtype
        stranger = SeriesKey("nobody", Quantity.HUMIDITY)
        assert len(track(reader, stranger, *EVER).at_ms) == 0
    assert full.index.name == "time"
    assert str(full.index.dtype) == "datetime64[ms, UTC]"


def test_a_week_across_midnights_is_whole(tmp_path: Path) -> None:
    week = believable(60_480, start_ms=DAY_0_MS + 7_000_000, jitter_ms=100)
    with closing(SqliteArchive(tmp_path / "archive.db")) as archive:
        archive.write({WARM: week})
    with Reader(tmp_path / "journal.db", tmp_path / "archive.db") as reader:
        table = read_table(reader, WARM, week.at_ms[100], week.at_ms[-100])
    assert table.at_ms.tolist() == week.at_ms.tolist()[100:-100]
    assert table.value.tolist() == week.raw.tolist()[100:-100]
