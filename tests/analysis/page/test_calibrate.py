"""A calibration on the page: seen to be steady, kept or refused, joined by a second point."""

from __future__ import annotations

import random
from contextlib import closing
from html import unescape

import pytest
from starlette.testclient import TestClient

from collector.book.book import Book
from collector.book.records import Calibrated
from collector.calibration import from_record
from collector.readings import Quantity, Reading
from collector.store.journal import Journal
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import NOW
from tests.analysis.page.test_meal import text_of
from tests.analysis.page.test_probes import hidden

PROBE = "in the bath"
ICE = f"/probes/calibrate?probe={PROBE}"
SECOND = f"{ICE}&bath=second"


def bath(home: Home, until_ms: int, celsius: float, noise_c: float = 0.04) -> None:
    """Four minutes of it, a reading every 5 s."""
    draw = random.Random(round(celsius))
    said = [
        Reading(
            PROBE,
            Quantity.TEMPERATURE,
            until_ms - past_s * 1000,
            round((celsius + draw.gauss(0, noise_c)) * 16) / 16,
        )
        for past_s in range(240, 0, -5)
    ]
    with closing(Journal(home.journal)) as journal:
        journal.commit(said)


def kept(home: Home) -> list[Calibrated]:
    with Book(home.book, read_only=True) as book:
        return book.calibrations(PROBE)


def keep(page: TestClient, path: str, **fields: str) -> tuple[int, str]:
    """Press the button of a bath's form; the status, and where it leads or what it says."""
    answer = page.post("/probes/calibrate", data={**hidden(page.get(path).text), **fields})
    return answer.status_code, answer.headers.get("location", unescape(text_of(answer.text)))


def test_ice_then_warm_water(home: Home, asks: Asks, clock: Clock) -> None:
    bath(home, NOW, 0.3)
    page = asks(home)
    said = unescape(text_of(page.get(ICE).text))
    assert "Crush ice of clean water" in said
    assert "Steady. It reads 0." in said
    told = page.get(f"/api/probes/steadiness?probe={PROBE}").json()
    assert (told["steady"], told["readings"]) == (True, 36)
    assert told["mean_c"] == pytest.approx(0.3, abs=0.03)
    status, written = keep(page, ICE)
    assert status == 303
    (ice,) = kept(home)
    said = unescape(text_of(page.get(written).text))
    assert "0.31 °C is taken off every reading of this probe. Near 0 °C it is then right" in said
    assert "95 times in 100" in said

    clock.past_s += 600
    bath(home, clock.now_ms(), 37.5)
    assert "It joins the ice point of" in unescape(text_of(page.get(SECOND).text))
    for wrong, why in (
        ({"true_c": "warm", "sure_c": "0.1"}, "not a number of °C"),
        ({"true_c": "", "sure_c": "0.1"}, "the point needs it"),
        ({"true_c": "73.1", "sure_c": "0.1"}, "more than 5 °C from what was true"),
        ({"true_c": "37.1", "sure_c": "-1"}, "more than 0, and at most 2"),
        ({"true_c": "inf", "sure_c": "0.1"}, "is no temperature"),
    ):
        status, said = keep(page, SECOND, **wrong)
        assert (status, why in said) == (422, True), said
    assert kept(home) == [ice]
    status, written = keep(page, SECOND, true_c="37,1", sure_c="0.1")
    assert status == 303
    assert "elsewhere what the line through both points says" in page.get(written).text
    both = kept(home)[-1]
    assert from_record(both).apply(37.5) == pytest.approx(37.1, abs=0.05)
    page.post(written, data=hidden(page.get(written).text))  # Undo
    assert kept(home) == [ice]


def test_what_is_not_steady_or_not_there_is_not_kept(home: Home, asks: Asks) -> None:
    bath(home, NOW, 0.3, noise_c=0.5)
    page = asks(home)
    status, said = keep(page, ICE)
    assert (status, "Nothing was entered. Waiting." in said) == (422, True)
    assert "There is no ice point of the last day" in page.get(SECOND).text
    form = hidden(page.get(ICE).text)
    for wrong in ({"bath": "mud"}, {"probe": "nobody"}, {"probe": ""}):
        assert page.post("/probes/calibrate", data={**form, **wrong}).status_code in (404, 422)
    assert page.get("/probes/calibrate?probe=nobody").status_code == 404
    assert page.get("/api/probes/steadiness?probe=nobody").status_code == 404
    assert kept(home) == []
