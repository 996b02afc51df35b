"""Probes and places: what is told of each, moving one, and finding the one in a warm hand."""

from __future__ import annotations

import math
import re
from contextlib import closing
from html import unescape
from urllib.parse import parse_qs, urlsplit

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
    form = "/probes/move?probe=warm"
    assert 'value="left shelf" selected' in page.get(form).text
    fields = {"probe": "warm", "enclosure": "right shelf", "zone": "hide",
              "since": "2026-04-02 20:00"}  # fmt: skip
    status, there = send(page, "/probes/move", form, **fields)
    assert status == 303
    assert send(page, "/probes/move", form, **fields) == (303, there), "twice is once"
    assert [(p.enclosure, p.zone) for p in placements(home, "warm")] == [
        ("left shelf", Zone.WARM_SIDE), ("right shelf", Zone.HIDE),
    ]  # fmt: skip
    assert "right shelf, hide" in text_of(page.get(there).text)
    number = parse_qs(urlsplit(there).query)["done"][0]
    assert send(page, "/probes/undo", there, number=number) == (303, "/probes")
    assert len(placements(home, "warm")) == 1
    assert send(page, "/probes/undo", "/probes", number=number)[0] == 404


def test_a_probe_is_taken_out(home: Home, asks: Asks) -> None:
    page = asks(home)
    for _ in range(2):
        status, _ = send(page, "/probes/move", "/probes/move?probe=cool", probe="cool",
                         enclosure="", since="2026-04-02T21:00")  # fmt: skip
        assert status == 303
    (only,) = placements(home, "cool")
    assert only.until_ms is not None


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"enclosure": "nowhere at all"}, "No enclosure 'nowhere at all' in the book"),
        ({"zone": "attic"}, "'attic' is no zone"),
        ({"since": "2026-04-05T10:00"}, "is still to come"),
        ({"since": "soon"}, "since: 'soon'"),
        ({"since": "2026-02-26T21:39"}, "the book has that already"),
        ({"probe": "nobody"}, "No probe 'nobody'"),
    ],
)
def test_what_cannot_be_is_said_beside_the_form(
    home: Home, asks: Asks, wrong: dict[str, str], why: str
) -> None:
    fields = {"probe": "warm", "enclosure": "right shelf", "zone": "hide", "since": "", **wrong}
    status, said = send(asks(home), "/probes/move", "/probes/move?probe=warm", **fields)
    assert status == 422
    assert why.casefold() in said.casefold()
    assert len(placements(home, "warm")) == 1


@pytest.mark.parametrize("path", ["/probes/move", "/probes/undo", "/probes/find"])
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
