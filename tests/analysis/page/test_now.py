"""The first screen: what needs doing, and each enclosure in a sentence."""

from __future__ import annotations

import re

from starlette.testclient import TestClient

from analysis.watch.alarm_store import AlarmStore
from analysis.watch.names import code_of
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Transition
from collector.book.book import Book
from collector.book.records import Meal
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import DAY, HOUR, NOW
from tests.analysis.page.test_meal import text_of


def test_every_enclosure_is_a_sentence(page: TestClient) -> None:
    said = text_of(page.get("/").text)
    assert "on the warm side, steady; Maren: day 4 of about" in said
    assert "Last reading 1 min ago." in said
    assert "Warm side not known." in said
    assert "Ondo: no meal is in the book yet." in said


def test_the_ribbon_of_the_current_meal_leads_to_it(page: TestClient) -> None:
    text = page.get("/").text
    assert text.count('class="ribbon"') == 2
    assert 'href="/meal/3"' in text


def test_with_nothing_to_do_nothing_is_said_of_it(page: TestClient) -> None:
    assert "To do today" not in page.get("/").text


def test_an_open_outcome_is_asked_for(home: Home, asks: Asks, clock: Clock) -> None:
    clock.past_s = 20 * DAY / 1000
    text = asks(home).get("/").text
    said = text_of(text)
    assert "To do today" in said
    assert "Maren took a 180 g rat on Sun 29 Mar 2026 at 22:39: what became of it?" in said
    assert '<a href="/write/outcome?meal=3">Say it</a>' in text


def test_no_link_of_the_first_screen_leads_nowhere(home: Home, asks: Asks, clock: Clock) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Meal(0, "Ondo", offered_at_ms=NOW - HOUR, prey="mouse"))
    alarm = Alarm(AlarmKey(Kind.TOO_HOT, "left shelf"), State.UNACKNOWLEDGED, raised_ms=NOW)
    with AlarmStore(home.alarms) as store:
        store.record([Transition(Cause.RAISED, NOW, State.NORMAL, alarm)], [], [], NOW)
    clock.past_s = 20 * DAY / 1000
    page = asks(home)
    links = set(re.findall(r'<a [^>]*href="(/[^"]*)"', page.get("/").text))
    assert links
    assert {link: page.get(link).status_code for link in links} == dict.fromkeys(links, 200)


def test_prey_that_still_lies_there_is_loud(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Meal(0, "Ondo", offered_at_ms=NOW - HOUR, prey="mouse"))
    text = asks(home).get("/").text
    assert '<li class="urgent">' in text
    assert "taken, or still there?" in text


def test_an_alarm_that_waits_for_an_answer_comes_first(home: Home, asks: Asks) -> None:
    alarm = Alarm(
        AlarmKey(Kind.WARM_SIDE_LOW, "left shelf"), State.UNACKNOWLEDGED, Priority.HIGH,
        since_ms=NOW - HOUR, raised_ms=NOW - HOUR, lowest=24.12,
    )  # fmt: skip
    with AlarmStore(home.alarms) as store:
        change = Transition(Cause.RAISED, NOW - HOUR, State.NORMAL, alarm)
        store.record([change], [], [], NOW)
    text = asks(home).get("/").text
    assert "Warm side low, left shelf: since" in text
    assert f'href="/alarms#alarm-{code_of(alarm.key)}">See and answer</a>' in text
    assert "lowest 24.1 °C" in text
    assert '<li class="urgent">' in text
    (said,) = asks(home).get("/api/alarms").json()
    assert (said["alarm"], said["state"]) == ("warm side low", "unacknowledged")


def test_an_unknown_address_is_said_in_plain_words(page: TestClient) -> None:
    answer = page.get("/nowhere")
    assert answer.status_code == 404
    assert "There is nothing here" in answer.text


def test_an_empty_home_says_what_to_do(home: Home, asks: Asks) -> None:
    home.book.unlink()
    assert "No enclosure is in the book yet." in asks(home).get("/").text
