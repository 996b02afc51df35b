"""Probes and places: what is told of each, moving one, and finding the one in a warm hand."""

from __future__ import annotations

import math
import re
from contextlib import closing
from html import unescape

import pytest
from starlette.testclient import TestClient

from collector.book.book import Book
from collector.book.records import Calibrated, Placement, Zone
from collector.readings import Flag, Quantity, Reading
from collector.store.journal import Journal
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.forms import token_on
from tests.analysis.page.homes import BY_HAND, MINUTE, NOW
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.test_meal import text_of

T = Quantity.TEMPERATURE


def placements(home: Home, probe: str) -> list[Placement]:
    with Book(home.book, read_only=True) as book:
        return book.placements(probe)


def write(home: Home, *readings: Reading) -> None:
    with closing(Journal(home.journal)) as journal:
        journal.commit(list(readings))


def hidden(html: str) -> dict[str, str]:
    """The hidden fields of the form of a page, the last form that has a key."""
    fields = [a for tag, a in elements(html) if tag == "input" and a.get("type") == "hidden"]
    return {str(one["name"]): str(one["value"]) for one in fields}


def send(page: TestClient, path: str, form: str, **fields: str) -> tuple[int, str]:
    """A form sent as a browser does; the status, and where it leads or what it says."""
    answer = page.post(path, data={"form_token": token_on(page, form), **fields})
    return answer.status_code, answer.headers.get("location", unescape(text_of(answer.text)))


def test_each_probe_is_told_with_reading_quality_and_place(home: Home, asks: Asks) -> None:
    write(
        home,
        Reading("warm", Quantity.VOLTAGE, NOW - MINUTE, 2.934),
        Reading("loose", T, NOW - 3 * 60 * MINUTE, -127.0, flags=Flag.DISCONNECTED),
    )
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Calibrated("warm", NOW - MINUTE, 0.25, 0.0, 0.07))
    said = text_of(asks(home).get("/probes").text)
    assert "-0.25 °C is added to every reading; sure to ±0.07 °C (k = 2) near 0 °C" in said
    assert "calibrated Thu 2 Apr 2026, 22:3" in said
    assert re.search(r"left shelf, warm side warm .*°C, 1 min ago battery 2\.93 V, 1 min ago", said)
    assert re.search(r"62 % humidity|\d\d % humidity, 1 min ago", said)
    assert "Left shelf, warm side since Thu 26 Feb 2026, 21:39" in said
    assert "Silent since Thu 2 Apr 2026, 19:" in said
    assert "disconnected" in said
    assert "None: as read" in said


def test_the_screen_is_among_the_links_at_the_top(page: TestClient) -> None:
    assert '<a href="/probes">Probes</a>' in page.get("/").text


def test_a_home_without_probes_says_what_to_do(home: Home, asks: Asks) -> None:
    home.book.unlink()
    home.archive.unlink()
    home.settings.write_text("")
    assert "No probe has been heard or placed yet." in text_of(asks(home).get("/probes").text)


def test_a_probe_is_moved_once_and_that_is_taken_back(home: Home, asks: Asks) -> None:
    page = asks(home)
    form = page.get("/probes/move?probe=warm").text
    assert 'value="left shelf" selected' in form
    data = {**hidden(form), "enclosure": "right shelf", "zone": "hide", "time": "2026-04-02 20:00"}
    answers = [page.post("/probes/move", data=data) for _ in range(2)]
    assert [one.status_code for one in answers] == [303, 303], "twice is once"
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert [(p.enclosure, p.zone) for p in placements(home, "warm")] == [
        ("left shelf", Zone.WARM_SIDE), ("right shelf", Zone.HIDE),
    ]  # fmt: skip
    there = answers[0].headers["location"]
    written = page.get(there).text
    assert "right shelf, hide" in text_of(written)
    assert page.post(there, data=hidden(written)).status_code == 303
    assert len(placements(home, "warm")) == 1


def test_a_probe_is_taken_out(home: Home, asks: Asks) -> None:
    page = asks(home)
    form = page.get("/probes/move?probe=cool").text
    data = {**hidden(form), "enclosure": "", "time": "2026-04-02 21:00"}
    assert page.post("/probes/move", data=data).status_code == 303
    (only,) = placements(home, "cool")
    assert only.until_ms is not None


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"enclosure": "nowhere at all"}, "No enclosure 'nowhere at all' in the book"),
        ({"zone": "attic"}, "is none of what may be chosen here"),
        ({"zone": ""}, "say where in it the probe lies"),
        ({"time": "2026-04-05 10:00"}, "is still to come"),
        ({"time": "soon"}, "'soon'"),
        ({"time": "2026-02-26 21:39"}, "the book has that already"),
        ({"enclosure": "", "time": "2026-01-01 10:00"}, "it lies nowhere at"),
    ],
)
def test_what_cannot_be_is_said_beside_the_form(
    home: Home, asks: Asks, wrong: dict[str, str], why: str
) -> None:
    page = asks(home)
    form = page.get("/probes/move?probe=warm").text
    data = {**hidden(form), "enclosure": "right shelf", "zone": "hide", **wrong}
    answer = page.post("/probes/move", data=data)
    assert answer.status_code == 422
    assert why.casefold() in unescape(text_of(answer.text)).casefold()
    assert len(placements(home, "warm")) == 1


def test_an_unknown_probe_has_no_form(page: TestClient) -> None:
    assert page.get("/probes/move?probe=nobody").status_code == 404


@pytest.mark.parametrize("path", ["/probes/move", "/probes/find"])
def test_a_forged_form_does_nothing(home: Home, asks: Asks, path: str) -> None:
    data = {"form_token": "00", "probe": "warm", "enclosure": "right shelf", "zone": "hide",
            "number": "1"}  # fmt: skip
    assert asks(home).post(path, data=data).status_code == 403
    assert len(placements(home, "warm")) == 1
    assert not home.haste.exists()


def test_no_name_of_a_probe_becomes_script(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Placement(EVIL, "left shelf", Zone.HIDE, BY_HAND))
    page = asks(home)
    text = page.get("/probes").text
    assert "&lt;script&gt;alert(1)" in text
    (link,) = [a["href"] for tag, a in elements(text) if tag == "a" and "onerror" in str(a)]
    form = page.get(str(link)).text
    assert "&lt;script&gt;alert(1)" in form
    for tag, attributes in [*elements(text), *elements(form)]:
        assert tag not in ("img", "iframe")
        assert not any(name.startswith("on") for name in attributes)
        assert tag != "script" or str(attributes["src"]).startswith("/static/")


# ---- the one in a warm hand --------------------------------------------------------------------


def hold(home: Home, probe: str, seconds: int) -> None:
    """Five minutes of readings before NOW, and so many seconds after it with one in a hand."""
    write(
        home,
        *(
            Reading(one, T, NOW + s * 1000, round((24 + n + 0.06 * math.sin(s * 1.7 + n)
                    + (10 * (1 - math.exp(-s / 15)) if one == probe and s > 0 else 0)) * 16) / 16)
            for n, one in enumerate(("warm", "cool", "room"))
            for s in range(-300, seconds, 3)
        ),
    )  # fmt: skip


def test_the_probe_in_the_hand_is_named(home: Home, asks: Asks, clock: Clock) -> None:
    hold(home, "cool", 30)
    page = asks(home)
    status, there = send(page, "/probes/find", "/probes")
    assert (status, there) == (303, f"/probes/find?began={NOW}")
    assert home.haste.read_text() == f"{NOW + 120_000}\n"
    clock.past_s = 3
    assert "Not sure yet" in text_of(page.get(there).text)
    clock.past_s = 29
    told = page.get(f"/api/probes/find?began={NOW}").json()
    assert (told["probe"], told["over"]) == ("cool", True)
    found = page.get(there).text
    assert "It is cool, left shelf, cool side:" in text_of(found)
    assert 'href="/probes/move?probe=cool"' in found


def test_a_search_has_an_end(home: Home, asks: Asks, clock: Clock) -> None:
    page = asks(home)
    clock.past_s = 121
    told = page.get(f"/api/probes/find?began={NOW}").json()
    assert (told["probe"], told["over"]) == (None, True)
    clock.past_s = 200
    for began in (NOW, NOW + 10**9, 0):
        assert page.get(f"/api/probes/find?began={began}").status_code == 404
    assert page.get("/api/probes/find?began=x").status_code in (400, 422)


def test_looking_that_was_not_begun_leads_to_where_it_begins(page: TestClient) -> None:
    answer = page.get("/probes/find")
    assert (answer.status_code, answer.headers["location"]) == (303, "/probes")
