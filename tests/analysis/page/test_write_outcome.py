"""What became of a meal: from the open question in one tap, or with its time."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from collector.book.book import Book
from collector.book.records import Meal, Outcome, Signs
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import DAY, HOUR, NOW, THIRD
from tests.analysis.page.writing import form_of, open_form, said, save, saved, sure_of

LATER = NOW + 20 * DAY


@pytest.fixture
def here(home: Home, asks: Asks, clock: Clock) -> TestClient:
    clock.past_s = 20 * DAY / 1000
    return asks(home)


def meal(home: Home, number: int) -> Meal:
    with Book(home.book, read_only=True) as book:
        return book.meal(number)


@pytest.mark.parametrize("word", ["passed", "kept", "regurgitated", "vomited"])
def test_one_tap_from_the_question(home: Home, here: TestClient, word: str) -> None:
    """The first form of the list is that of the open question; the button is all that is added."""
    assert "what became of it?" in said(here.get("/write/outcome"))
    answer = save(here, "/write/outcome", outcome=word)
    if word in ("regurgitated", "vomited"):
        assert answer.status_code == 422
        assert "Came back 23 days after it was taken" in said(answer)
        action, fields = form_of(answer.text)
        assert fields["outcome"] == word
        answer = here.post(action, data={**fields, "sure": sure_of(answer)})
    assert answer.status_code == 303
    shown = said(here.get(answer.headers["location"]))
    assert f"outcome: not known → {word}" in shown
    assert ("ask a vet at once" in shown) == (word == "vomited")
    assert (meal(home, 3).outcome, meal(home, 3).outcome_at_ms) == (Outcome(word), LATER)
    assert "No question is open" in said(here.get("/write/outcome"))


@pytest.mark.parametrize(
    ("word", "became"),
    [
        ("taken", (LATER, None, None)),
        ("removed", (None, LATER, Outcome.REFUSED)),
        ("refused", (None, None, Outcome.REFUSED)),
    ],
)
def test_an_offer_taken_taken_away_or_refused(
    home: Home, here: TestClient, word: str, became: tuple[int | None, int | None, Outcome | None]
) -> None:
    with Book(home.book, now_ms=lambda: LATER) as book:
        book.put(Meal(0, "Ondo", offered_at_ms=LATER - HOUR, prey="mouse"))
    assert '<a href="/write/outcome?meal=4">Say it</a>' in here.get("/").text
    assert "Still there" in said(here.get("/write/outcome?meal=4"))
    saved(here, "/write/outcome?meal=4", outcome=word)
    found = meal(home, 4)
    assert (found.taken_at_ms, found.removed_at_ms, found.outcome) == became


def test_its_time_and_what_was_seen(home: Home, here: TestClient) -> None:
    shown = saved(
        here, "/write/outcome?meal=3", outcome="regurgitated", time="2026-04-01 08:00",
        signs="mucus", notes="before it was handled",
    )  # fmt: skip
    assert "ask a vet at once" in shown
    found = meal(home, 3)
    assert (found.outcome, found.signs, found.notes) == (
        Outcome.REGURGITATED, Signs.MUCUS, "before it was handled",
    )  # fmt: skip


def test_what_was_noted_before_is_kept(home: Home, here: TestClient) -> None:
    saved(here, "/meal/3/correct", notes="one\r\ntwo", signs="none")
    saved(here, "/write/outcome?meal=3", outcome="kept")
    assert (meal(home, 3).notes, meal(home, 3).signs) == ("one\ntwo", Signs.NONE)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"outcome": "eaten"}, "none of what may be chosen"),
        ({}, "say what became of it"),
        ({"outcome": "passed", "time": "2026-03-01 10:00"}, "is before taken_at"),
        ({"outcome": "passed", "time": "nought"}, "is not a time"),
        ({"outcome": "passed", "signs": "smoke"}, "none of what may be chosen"),
    ],
)
def test_what_cannot_be_is_said(
    home: Home, here: TestClient, changed: dict[str, str], why: str
) -> None:
    answer = save(here, "/write/outcome?meal=3", **changed)
    assert answer.status_code == 422
    assert why in said(answer).lower()
    assert meal(home, 3).outcome is None


@pytest.mark.parametrize("number", ["99", "x", "-1", "3" * 400, "٣", ""])
def test_a_meal_that_is_not_there(here: TestClient, number: str) -> None:
    action, fields = open_form(here, "/write/outcome?meal=3")
    assert here.post(action, data={**fields, "meal": number, "outcome": "kept"}).status_code == 404


def test_what_another_said_meanwhile_is_not_overwritten_unseen(
    home: Home, here: TestClient
) -> None:
    action, fields = open_form(here, "/write/outcome")
    saved(here, "/write/outcome", outcome="passed")
    answer = here.post(action, data={**fields, "outcome": "kept"})
    assert answer.status_code == 422
    assert "Meanwhile this was changed" in said(answer)
    assert meal(home, 3).outcome is Outcome.PASSED


def test_every_answer_has_a_key_of_its_own(home: Home, here: TestClient) -> None:
    with Book(home.book, now_ms=lambda: LATER) as book:
        book.put(Meal(0, "Ondo", THIRD, THIRD, prey="mouse"))
    keys = re.findall(r'name="entry_key" value="([^"]+)"', here.get("/write/outcome").text)
    assert len(keys) == len(set(keys)) == 2
