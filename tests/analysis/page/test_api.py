"""What programs ask: records, reviews, readings, alarms, health, metrics."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from prometheus_client.parser import text_string_to_metric_families
from starlette.testclient import TestClient

from analysis.page.series import probe_series
from analysis.review import review_all
from collector.book.book import Book
from collector.book.records import Enclosure, Placement, Zone
from collector.readings import Quantity, SeriesKey
from collector.rfc3339 import written
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.home import Home
from config.settings import load_settings
from tests.analysis.page.conftest import Asks
from tests.analysis.page.homes import FIRST, NOW, SECOND

MINUTE = 60_000
WARM = SeriesKey("warm", Quantity.TEMPERATURE)


def test_reviews_are_those_of_the_command_line(page: TestClient, quiet_home: Home) -> None:
    settings, care = load_settings(quiet_home), load_care_profile("boa-constrictor")
    with (
        Book(quiet_home.book, read_only=True) as book,
        Reader(quiet_home.journal, quiet_home.archive) as reader,
    ):
        found = [one.as_json() for one in review_all(book, reader, care, settings, NOW)]
    assert page.get("/api/reviews").json() == json.loads(json.dumps(found))
    assert page.get("/api/meals/2/review").json() == json.loads(json.dumps(found[1]))


def test_meals_and_the_rest_are_there(page: TestClient) -> None:
    meals = page.get("/api/meals").json()
    assert [one["meal"] for one in meals] == [1, 2, 3]
    assert meals[1]["outcome"] == "regurgitated"
    assert meals[1]["taken_at"] == written(SECOND)
    assert page.get("/api/meals/1").json() == meals[0]
    assert {one["probe"] for one in page.get("/api/probes").json()} == {"warm", "cool", "room"}
    assert page.get("/api/alarms").json() == []
    assert {one["animal"] for one in page.get("/api/next").json()} == {"Maren", "Ondo"}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/meals/99", 404),
        ("/api/meals/0", 422),
        ("/api/meals/99999999999999999999999999", 422),
        ("/api/meals/x", 422),
        ("/api/meals?animal=Nobody", 404),
        ("/api/readings", 422),
        ("/api/readings?probe=nobody", 404),
        ("/api/readings?probe=warm&from=yesterday", 400),
        ("/api/readings?probe=warm&from=2026-03-05T00:00:00Z&to=2026-03-04T00:00:00Z", 400),
        ("/api/readings?probe=warm&from=0001-01-01T00:00:00Z", 400),
        ("/api/readings?probe=warm&columns=5000000", 422),
        ("/api/nowhere", 404),
    ],
)
def test_what_cannot_be_answered_is_said_in_json(page: TestClient, path: str, status: int) -> None:
    answer = page.get(path)
    assert answer.status_code == status
    assert answer.json()["fault"]


def test_readings_are_those_of_the_store(page: TestClient) -> None:
    span = {"from": written(SECOND), "to": written(SECOND + 4 * 3_600_000)}
    found = page.get("/api/readings", params={"probe": "warm", "columns": 4000, **span}).json()
    assert found["unit"] == "Cel"
    assert len(found["stretches"]) == 1
    assert len(found["stretches"][0]) == 4 * 12
    assert all(SECOND <= at < SECOND + 4 * 3_600_000 for at, _ in found["stretches"][0])


def test_a_gap_is_a_gap(page: TestClient) -> None:
    span = {"from": written(SECOND), "to": written(SECOND + 3 * 86_400_000)}
    found = page.get("/api/readings", params={"probe": "warm", "columns": 10, **span}).json()
    (*_, last_before), (first_after, *_) = found["stretches"]
    assert first_after[0] - last_before[0] == 3 * 3_600_000 + 5 * MINUTE


def test_every_dip_of_a_million_readings_is_there(tmp_path: Path) -> None:
    """One reading of each of 50 moments, drawn by lot, is a dip: the picture has all of them."""
    count, columns = 1_000_000, 1000
    rng = np.random.default_rng(7)
    at_ms = FIRST + np.arange(count) * 10_000
    value = 31 + rng.normal(0, 0.2, count)
    dips = rng.choice(count, 50, replace=False)
    value[dips] = 20 + rng.random(50)
    with closing(SqliteArchive(tmp_path / "archive.db")) as archive:
        archive.write({WARM: Columns.ordered(at_ms.tolist(), value.tolist())})
    start_ms, end_ms = FIRST, FIRST + count * 10_000
    with Reader(tmp_path / "journal.db", tmp_path / "archive.db") as reader:
        found = probe_series(reader, WARM, start_ms, end_ms, columns=columns, gap_ms=15 * MINUTE)
    assert len(found) == 1
    shown = dict(zip(found[0].at_ms.tolist(), found[0].value.tolist(), strict=True))
    assert len(shown) <= 4 * columns
    column = (at_ms - start_ms) * columns // (end_ms - start_ms)
    lowest = np.full(columns, np.inf)
    np.minimum.at(lowest, column, value)
    of_shown = np.full(columns, np.inf)
    shown_ms = np.array(list(shown))
    np.minimum.at(
        of_shown,
        ((shown_ms - start_ms) * columns // (end_ms - start_ms)).astype(int),
        np.array(list(shown.values())),
    )
    assert np.array_equal(of_shown, lowest), "the lowest of every column is in the picture"
    alone = [i for i in dips if (column[dips] == column[i]).sum() == 1]
    assert all(shown[float(at_ms[i])] == value[i] for i in alone)
    assert len(alone) > 40


# ---- health ----------------------------------------------------------------------------------


def test_well(page: TestClient) -> None:
    answer = page.get("/healthz")
    assert answer.status_code == 200
    said = answer.json()
    assert said["store_readable"] is said["book_readable"] is True
    assert said["collector_running"] is None
    assert said["newest_reading_age_seconds"] == 60


def test_a_collector_that_ended_is_not_well(home: Home, asks: Asks) -> None:
    account = {"at": written(NOW), "pid": 2**22 + 1, "store": "written", "held": 0, "sources": {}}
    home.collector_state.write_text(json.dumps(account), encoding="utf-8")
    answer = asks(home).get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["collector_running"] is False


def test_a_spoilt_book_is_not_well(home: Home, asks: Asks) -> None:
    home.book.write_bytes(b"not a book at all" * 500)
    browser = asks(home)
    assert browser.get("/healthz").status_code == 503
    assert browser.get("/healthz").json()["book_readable"] is False
    said = browser.get("/")
    assert said.status_code == 503
    assert "cannot be read just now" in said.text


def test_a_spoilt_archive_is_not_well(home: Home, asks: Asks) -> None:
    home.archive.write_bytes(b"not an archive" * 500)
    answer = asks(home).get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["store_readable"] is False


# ---- metrics ---------------------------------------------------------------------------------


def test_metrics_are_read_by_another_parser(home: Home, asks: Asks) -> None:
    """Read back with the parser of prometheus_client."""
    hostile = 'shelf "\\ \\n{x="y"} 1'
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Enclosure("cellar"))
        book.put(Placement(hostile, "cellar", Zone.HIDE, NOW - 1000))
    with closing(SqliteArchive(home.archive)) as archive:
        key = SeriesKey(hostile, Quantity.HUMIDITY)
        archive.write({key: Columns.ordered([NOW - 5000], [55.0])})
    account = {
        "at": written(NOW), "pid": 1, "store": "written", "held": 0,
        "sources": {"serial": {"frames": 7, "readings": 6, "dropped": {"torn": 1},
                               "connected": True, "since": None}},
    }  # fmt: skip
    home.collector_state.write_text(json.dumps(account), encoding="utf-8")
    answer = asks(home).get("/metrics")
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    values = {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }
    place = {"probe": hostile, "enclosure": "cellar", "zone": "hide"}
    humidity = values["warmcoil_relative_humidity_ratio", frozenset(place.items())]
    assert humidity == pytest.approx(0.55)
    age = {**place, "quantity": "humidity"}
    assert values["warmcoil_reading_age_seconds", frozenset(age.items())] == 5.0
    torn = {"source": "serial", "reason": "torn"}
    assert values["warmcoil_source_dropped_total", frozenset(torn.items())] == 1.0
    assert values["process_resident_memory_bytes", frozenset()] > 1e6


def test_the_openapi_document_names_the_api(page: TestClient) -> None:
    paths = page.get("/api/openapi.json").json()["paths"]
    assert {"/api/reviews", "/api/meals", "/api/readings", "/api/alarms", "/metrics"} <= set(paths)
    assert not any(path.startswith("/static") for path in paths)
