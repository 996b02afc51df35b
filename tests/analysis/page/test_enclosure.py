"""One enclosure on the page, from hours to a year: no dip is lost, and gaps are gaps."""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from analysis.exposure import Line
from analysis.figures.reduce import Path, paths_of, reduced
from analysis.gathering import Facts
from analysis.page.series import probe_hours
from analysis.page.zone_series import line_through, zone_series
from analysis.tracks import Tracks
from analysis.zones import zone_line
from collector.book.book import Book
from collector.book.records import Stay, Zone
from collector.readings import Quantity, SeriesKey
from collector.store.reader import Reader
from collector.store.thinning import raw_days, thin
from config.home import Home
from tests.analysis.page.homes import DAY, FIRST, HOUR, MINUTE, NOW, SECOND, make_home
from tests.analysis.page.test_meal import text_of

SHELF = "/enclosure/left%20shelf"


def columns_of(line: Line, start: int, end: int, columns: int) -> dict[int, tuple[float, float]]:
    """Lowest and highest point of every column, one after the other: the plain way."""
    found: dict[int, tuple[float, float]] = {}
    ends = [(line.start_ms, line.start_c), (line.end_ms, line.end_c)]
    for at_ms, value in ends:
        for at, c in zip(at_ms.tolist(), value.tolist(), strict=True):
            column = int((at - start) * columns // (end - start))
            low, high = found.get(column, (c, c))
            found[column] = min(low, c), max(high, c)
    return found


@given(
    first=st.integers(-2 * DAY, 20 * DAY),
    days=st.integers(1, 30),
    columns=st.integers(10, 400),
)
@settings(max_examples=12, deadline=None)
def test_every_column_keeps_its_lowest_and_highest(
    quiet_home: Home, first: int, days: int, columns: int
) -> None:
    start, end = FIRST + first, FIRST + first + days * DAY
    with (
        Book(quiet_home.book, read_only=True) as book,
        Reader(quiet_home.journal, quiet_home.archive) as reader,
    ):
        facts, tracks = Facts.of(book), Tracks(reader)
        shown = zone_series(
            "left shelf", Zone.WARM_SIDE, Quantity.TEMPERATURE, start, end,
            columns=columns, placements=facts.placements, tracks=tracks, gap_ms=15.0 * MINUTE,
        )  # fmt: skip
        whole = zone_line(
            Zone.WARM_SIDE, Quantity.TEMPERATURE, start, end,
            stays=[Stay("", "left shelf", start)], placements=facts.placements, tracks=tracks,
            gap_ms=15.0 * MINUTE,
        ).line  # fmt: skip
    assert shown is not None
    assert whole is not None
    assert columns_of(shown, start, end, columns) == columns_of(whole, start, end, columns)
    assert len(paths_of(shown)) == len(paths_of(whole))
    assert [(p.at_ms[0], p.at_ms[-1]) for p in paths_of(shown)] == [
        (p.at_ms[0], p.at_ms[-1]) for p in paths_of(whole)
    ]
    assert len(shown) <= 4 * (columns + 2) + 4 * 7


def test_what_was_thinned_keeps_each_day_s_lowest_and_highest(tmp_path: FilePath) -> None:
    home = make_home(tmp_path / "home")
    start, days = FIRST // DAY * DAY - 10 * DAY, 44

    def by_day() -> dict[int, tuple[float, float]]:
        with (
            Book(home.book, read_only=True) as book,
            Reader(home.journal, home.archive) as reader,
        ):
            shown = zone_series(
                "left shelf", Zone.WARM_SIDE, Quantity.TEMPERATURE, start, start + days * DAY,
                columns=24 * days, placements=Facts.of(book).placements, tracks=Tracks(reader),
                gap_ms=15.0 * MINUTE,
            )  # fmt: skip
        assert shown is not None
        return columns_of(shown, start, start + days * DAY, days)

    whole, old = by_day(), raw_days(home.archive)
    newest = max(one.day for one in old)
    thin(home.archive, [one for one in old if one.day < newest], 15.0 * MINUTE)
    shown, last = by_day(), max(whole)
    assert len(whole) > 25
    assert shown.pop(last)[0] <= whole.pop(last)[0]
    assert shown == whole
    with Reader(home.journal, home.archive) as reader:
        key = SeriesKey("warm", Quantity.TEMPERATURE)
        hours = probe_hours(reader, key, start, start + days * DAY, columns=days)
    assert [at % DAY for at, *_ in hours] == [FIRST // HOUR * HOUR % DAY - HOUR] + [0] * 29
    for at, low, mean, high in hours:
        assert (low, high) == whole[(at - start) // DAY]
        assert low < mean < high


@given(st.lists(st.floats(-20, 50), min_size=2, max_size=300), st.integers(2, 40))
def test_a_reduced_path_has_every_column_s_extremes(values: list[float], columns: int) -> None:
    at_ms = np.arange(len(values), dtype=np.float64) * 10_000
    path, end = Path(at_ms, np.array(values)), int(at_ms[-1]) + 10_000
    few = reduced(path, 0, end, columns)
    whole, shown = line_through([path]), line_through([few])
    assert columns_of(shown, 0, end, columns) == columns_of(whole, 0, end, columns)


def test_it_is_readable_before_any_script(page: TestClient) -> None:
    answer = page.get(SHELF)
    said = text_of(answer.text)
    assert "on the warm side, steady" in said
    assert "The last 2 days" in said
    assert "floor 28.0 °C" in said
    assert 'data-plot="/api/enclosure-plot?enclosure=left+shelf&amp;begin=' in answer.text
    assert "style=" not in answer.text
    assert f'href="{SHELF}"' in page.get("/").text


@pytest.mark.parametrize("span", ["hours", "week", "month", "year"])
def test_every_span_is_drawn(page: TestClient, span: str) -> None:
    said = page.get(f"{SHELF}?span={span}")
    assert said.status_code == 200
    assert said.text.count('class="plot"') == 2
    assert len(said.text) < 400_000


def test_a_year_on_the_plot_has_the_deepest_dip(page: TestClient) -> None:
    begin = NOW - 366 * DAY
    asks: dict[str, str | int] = {
        "enclosure": "left shelf", "begin": begin, "hours": 366 * 24, "columns": 300,
    }  # fmt: skip
    found = page.get("/api/enclosure-plot", params=asks).json()
    warm = next(one for one in found["tracks"] if one["name"] == "warm side")
    known = [y for y in warm["y"] if y is not None]
    near = {"probe": "warm", "from": "2026-03-16T00:00:00Z", "to": "2026-03-18T00:00:00Z"}
    exact = page.get("/api/readings", params={**near, "columns": 4000}).json()["stretches"]
    assert min(known) == pytest.approx(min(v for part in exact for _, v in part), abs=0.001)
    assert (SECOND + 2 * DAY - begin) / HOUR == pytest.approx(found["gaps"][1][0], abs=0.1)
    assert found["nights"] == found["midnights"] == []
    assert len(known) < 4 * 302


def test_what_it_is_like(page: TestClient) -> None:
    said = text_of(page.get(f"{SHELF}/what-it-is-like").text)
    assert "left shelf: " in said
    assert "above its room" in said


def test_what_is_not_there_is_one_line(page: TestClient) -> None:
    assert page.get("/enclosure/nowhere").status_code == 404
    assert page.get("/enclosure/nowhere/what-it-is-like").status_code == 404
    assert page.get(f"{SHELF}?span=age").status_code == 400
    asks: dict[str, str | int] = {"enclosure": "left shelf", "begin": NOW, "from": 3, "to": 3}
    assert page.get("/api/enclosure-plot", params=asks).status_code == 400
    unprobed = text_of(page.get("/enclosure/right%20shelf").text)
    assert "No probe lies on its warm side" in unprobed
