"""Entered once, whatever happens on the way; taken back with one press; and who may not enter."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from http.client import HTTPConnection, RemoteDisconnected
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.testclient import TestClient

from collector.book.book import Book
from collector.book.records import Outcome, Weighing
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import DAY, NOW
from tests.analysis.page.test_process import listening
from tests.analysis.page.writing import form_of, open_form, said, save, saved
from tests.page_process import PageProcess

REPOSITORY = Path(__file__).parents[3]
FORM = "/write/weight?animal=Ondo"


@pytest.fixture
def here(home: Home, asks: Asks) -> TestClient:
    return asks(home)


def weights(home: Home) -> list[float | None]:
    with Book(home.book, read_only=True) as book:
        return [one.mass_g for one in book.weighings("Ondo")][1:]


# ---- once ------------------------------------------------------------------------------------


def test_a_second_press_is_answered_with_the_first(
    home: Home, here: TestClient, clock: Clock
) -> None:
    action, fields = open_form(here, FORM)
    first = here.post(action, data={**fields, "mass_g": "920"})
    clock.past_s = 7.0  # "now" is another moment by then
    second = here.post(action, data={**fields, "mass_g": "920"})
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert weights(home) == [920.0]


def test_presses_at_the_same_time(home: Home, here: TestClient) -> None:
    action, fields = open_form(here, FORM)
    together, places = threading.Barrier(4), []

    def press() -> None:
        together.wait(10)
        answer = here.post(action, data={**fields, "mass_g": "920"})
        places.append(answer.headers.get("location"))

    threads = [threading.Thread(target=press) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(places) == 4
    assert len(set(places)) == 1
    assert weights(home) == [920.0]


def test_a_form_changed_after_it_was_entered_is_not_lost(home: Home, here: TestClient) -> None:
    action, fields = open_form(here, FORM)
    here.post(action, data={**fields, "mass_g": "920"})
    answer = here.post(action, data={**fields, "mass_g": "930", "time": "21:00"})
    assert answer.status_code == 409
    assert "This form was entered already, at 22:35; what it says now was not" in said(answer)
    action, fields = form_of(answer.text)
    assert fields["mass_g"] == "930"
    assert here.post(action, data=fields).status_code == 303
    assert sorted(weight or 0 for weight in weights(home)) == [920.0, 930.0]


@pytest.mark.parametrize(
    "key", ["", "short", "k" * 65, "k" * 20 + "\0", "'; DROP TABLE meal; --..."]
)
def test_a_key_that_is_none_is_replaced(home: Home, here: TestClient, key: str) -> None:
    answer = save(here, FORM, mass_g="920", entry_key=key)
    assert answer.status_code == 422
    action, fields = form_of(answer.text)
    assert (fields["mass_g"], weights(home)) == ("920", [])
    assert here.post(action, data=fields).status_code == 303


DIES = """
import os, signal, sys
from analysis.page import process
from analysis.page.forms import entering

def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)

entering.RedirectResponse = die
sys.argv = ["page", "--home", sys.argv[1], "--port", "0"]
sys.exit(process.main())
"""


def test_a_page_killed_between_the_commit_and_its_answer(home: Home) -> None:
    """The answer is lost, the entry is not; sent again to the next page, it stays one entry."""
    dying = subprocess.Popen(
        [sys.executable, "-c", DIES, str(home.folder)], stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
    )  # fmt: skip
    try:
        _, port = listening(dying)
        cookie, fields = _opened(port)
        body = urlencode({**fields, "mass_g": "920"})
        with pytest.raises((RemoteDisconnected, ConnectionError)):
            _send(port, body, cookie)
        assert dying.wait(20) == -signal.SIGKILL
    finally:
        dying.kill()
        dying.communicate()
    assert weights(home) == [920.0]
    with PageProcess(home) as page:
        places = [_send(page.port, body, cookie) for _ in range(2)]
    with Book(home.book, read_only=True) as book:
        last = book.history()[-1].number
    assert places == [(303, f"/written/{last}")] * 2
    assert weights(home) == [920.0]


def _opened(port: int) -> tuple[str, dict[str, str]]:
    connection = HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", FORM)
    answer = connection.getresponse()
    fields = form_of(answer.read().decode())[1]
    connection.close()
    return (answer.getheader("set-cookie") or "").partition(";")[0], fields


def _send(port: int, body: str, cookie: str) -> tuple[int, str | None]:
    connection = HTTPConnection("127.0.0.1", port, timeout=20)
    headers = {"content-type": "application/x-www-form-urlencoded", "cookie": cookie}
    try:
        connection.request("POST", "/write/weight", body, headers)
        answer = connection.getresponse()
        return answer.status, answer.getheader("location")
    finally:
        connection.close()


# ---- undo ------------------------------------------------------------------------------------


def test_undo_and_enter_again(home: Home, here: TestClient) -> None:
    place = save(here, FORM, mass_g="920").headers["location"]
    assert "Entered Added weighing of Ondo, 22:35: mass 920 g." in said(here.get(place))
    action, fields = open_form(here, place)
    back = here.post(action, data=fields)
    assert weights(home) == []
    assert "Taken back Removed weighing of Ondo" in said(here.get(back.headers["location"]))
    again = here.post(action, data=fields)
    assert again.headers["location"] == back.headers["location"], "pressed twice"
    assert "That was taken back again" in said(here.get(place))
    saved(here, back.headers["location"])
    assert weights(home) == [920.0]
    with Book(home.book, read_only=True) as book:
        assert [one.who for one in book.history()][-3:] == ["page"] * 3


def test_what_was_changed_since_is_not_taken_back(home: Home, here: TestClient) -> None:
    place = save(here, "/meal/3/correct", prey="mouse").headers["location"]
    action, fields = open_form(here, place)
    saved(here, "/meal/3/correct", prey="rabbit")
    answer = here.post(action, data=fields)
    assert answer.status_code == 422
    assert "was changed since" in said(answer)
    with Book(home.book, read_only=True) as book:
        assert book.meal(3).prey == "rabbit"


def test_an_import_is_not_taken_back_by_a_slip_of_the_thumb(home: Home, here: TestClient) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book, book.transaction():
        for n in range(30):
            book.put(Weighing("Ondo", NOW - DAY - n, mass_g=900.0 + n))
    with Book(home.book, read_only=True) as book:
        entry = book.history()[-1].entry
    shown = here.get(f"/written/{entry}")
    assert f"warmcoil undo {entry}" in said(shown)
    assert f'action="/written/{entry}"' not in shown.text
    assert here.get("/written/99999").status_code == 404


# ---- others at the same time, and who may not ------------------------------------------------


def test_another_writer_at_the_same_time(
    home: Home, here: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a command writes, the page waits; where it takes too long, nothing typed is lost."""
    action, fields = open_form(here, FORM)
    data = {**fields, "mass_g": "920"}
    with Book(home.book, now_ms=lambda: NOW) as other:
        monkeypatch.setattr("collector.book.file.WAIT_SECONDS", 0.2)
        with other.transaction():
            other.put(Weighing("Ondo", NOW - DAY, mass_g=910.0))
            answer = here.post(action, data=data)
    assert answer.status_code == 503
    assert "another command has been writing" in said(answer)
    assert form_of(answer.text)[1]["mass_g"] == "920"
    assert here.post(action, data=data).status_code == 303
    assert weights(home) == [910.0, 920.0]


@pytest.mark.parametrize("token", ["", "0" * 64, "x"])
def test_without_the_token_of_its_form(home: Home, here: TestClient, token: str) -> None:
    answer = save(here, FORM, mass_g="920", form_token=token)
    assert answer.status_code == 403
    assert weights(home) == []


@pytest.mark.parametrize(
    "headers", [{"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}]
)
def test_from_another_site(home: Home, here: TestClient, headers: dict[str, str]) -> None:
    action, fields = open_form(here, "/write/outcome?meal=3")
    answer = here.post(action, data={**fields, "outcome": "kept"}, headers=headers)
    assert answer.status_code == 403
    with Book(home.book, read_only=True) as book:
        assert book.meal(3).outcome is not Outcome.KEPT


def test_looking_never_writes(home: Home, here: TestClient) -> None:
    with Book(home.book, read_only=True) as book:
        before = len(book.history())
    for path in ("/write/meal?animal=Ondo", "/write/outcome?meal=3&outcome=kept", "/written/1"):
        assert here.get(path).status_code == 200
    with Book(home.book, read_only=True) as book:
        assert len(book.history()) == before


def test_far_too_much(home: Home, here: TestClient) -> None:
    assert save(here, FORM, mass_g="9" * 2_000_000).status_code == 413
    action, fields = open_form(here, FORM)
    many = {f"f{n}": "x" for n in range(300)}
    assert here.post(action, data={**fields, **many, "mass_g": "920"}).status_code == 400
    assert weights(home) == []
