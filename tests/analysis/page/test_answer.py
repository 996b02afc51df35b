"""Links in messages: each answers one alarm, once, when a button is pressed, and shows no more."""

from __future__ import annotations

import base64
import json
import re
import threading
import warnings
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from starlette.testclient import TestClient

from analysis.page.access.passphrase import PassphraseFile
from analysis.page.access.throttle import FREE_TRIES
from analysis.watch import beside, deliver, trial
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.links import VALID_MS, links_for, trial_link
from analysis.watch.requests import Action, asked
from analysis.watch.states import AlarmKey, Kind, State
from config.home import Home
from config.settings import load_settings
from tests.analysis.page.conftest import ADDRESS, Asks, Clock
from tests.analysis.page.forms import come_in, token_on
from tests.analysis.page.homes import HOUR, NOW
from tests.analysis.page.test_alarms import LOW, alarm_of, put
from tests.analysis.page.test_alarms import asked as asked_of
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.test_meal import text_of
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import wall_ms
from tests.analysis.watch.test_watcher import LOW as LARCH_LOW
from tests.analysis.watch.test_watcher import Bench

PHONE = ("192.168.7.20", 40_000)
FROM_PHONE = "http://192.168.7.2:8750"
PHRASE = "four warm sleeping coils"


@pytest.fixture
def locked(home: Home) -> Home:
    """A home with a pass phrase, in which two alarms stand."""
    PassphraseFile(home.folder).set(PHRASE)
    put(home, alarm_of(), alarm_of(AlarmKey(Kind.TOO_HOT, "right shelf")))
    return home


@pytest.fixture
def phone(locked: Home, asks: Asks) -> TestClient:
    """A browser that never said the pass phrase."""
    return asks(locked, PHONE, FROM_PHONE)


def link(home: Home, action: Action = Action.ACKNOWLEDGE, key: AlarmKey = LOW) -> str:
    """The path of a link as it stands in a message made now."""
    return urlsplit(dict(links_for(key, home, "http://boas.home:8750", NOW))[action]).path


def press(page: TestClient, path: str) -> int:
    """Open the link and press its button."""
    return page.post(path, data={"form_token": token_on(page, path)}).status_code


def test_it_shows_that_alarm_and_one_button_and_nothing_else(
    locked: Home, phone: TestClient
) -> None:
    answer = phone.get(link(locked))
    said = text_of(answer.text)
    assert answer.status_code == 200
    assert "The warm side of left shelf (back room) has been below 28.0 °C" in said
    assert "Maren is digesting a 180 g rat: 95 h since its meal." in said
    assert "This acknowledges the alarm" in said
    assert "right shelf" not in said
    assert [t for t, _ in elements(answer.text)].count("button") == 1
    links = [a.get("href") for t, a in elements(answer.text) if t == "a"]
    assert links == ["#main"]
    assert phone.get("/alarms").status_code == 303


def test_the_answer_carries_what_every_answer_carries(locked: Home, phone: TestClient) -> None:
    headers = phone.get(link(locked)).headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert headers["referrer-policy"] == "same-origin", "the link must not go to another site"
    assert headers["cache-control"] == "no-store"


def test_opening_it_does_nothing_however_often(locked: Home, phone: TestClient) -> None:
    """What scans mail opens links, some with HEAD."""
    path = link(locked)
    for _ in range(20):
        assert phone.get(path).status_code == 200
    phone.head(path)
    assert asked_of(locked) == []


def test_the_button_asks_the_watch_once(locked: Home, phone: TestClient) -> None:
    path = link(locked)
    token = token_on(phone, path)
    done = phone.post(path, data={"form_token": token})
    assert (done.status_code, done.headers["location"]) == (303, path)
    assert asked_of(locked) == [(Action.ACKNOWLEDGE, LOW, "link", None)]
    assert "asked at 22:35 to acknowledge" in text_of(phone.get(path).text)
    again = phone.post(path, data={"form_token": token})
    assert again.status_code == 409
    assert "It works once; nothing more was asked." in again.text
    assert len(asked_of(locked)) == 1


def test_a_link_shelves_for_two_hours(locked: Home, phone: TestClient) -> None:
    path = link(locked, Action.SHELVE)
    assert "asks anew if it still stands then" in phone.get(path).text
    assert press(phone, path) == 303
    assert asked_of(locked) == [(Action.SHELVE, LOW, "link", NOW + 2 * HOUR)]


def test_who_is_signed_in_and_comes_from_a_mail_can_answer(locked: Home, asks: Asks) -> None:
    """Cookies of SameSite=Strict stay away when the link is opened from another site, and come
    along when the form is sent (RFC 6265bis §5.2, from memory)."""
    page = asks(locked, PHONE, FROM_PHONE)
    assert come_in(page, PHRASE) == 303
    session = page.cookies["warmcoil-session"]
    page.cookies.clear()
    path = link(locked)
    token = token_on(page, path)
    page.cookies.set("warmcoil-session", session)
    assert page.post(path, data={"form_token": token}).status_code == 303


def test_nothing_is_left_to_do_where_it_is_answered_already(
    locked: Home, phone: TestClient
) -> None:
    path = link(locked)
    put(locked, alarm_of(state=State.ACKNOWLEDGED))
    text = phone.get(path).text
    assert "Nothing is left to be done by this link: it is acknowledged." in text
    assert "<button" not in text


# ---- refused ---------------------------------------------------------------------------------


def altered(path: str) -> Iterator[str]:
    """Links that somebody made of a good one."""
    said, _, mac = path.rpartition("/")[2].partition(".")
    yield f"/answer/{said}.{mac[:-1]}"
    yield f"/answer/{said[:-2]}.{mac}"
    yield f"/answer/{said}"
    yield f"/answer/{said}.{mac}x"
    octets = base64.urlsafe_b64decode(said + "=" * (-len(said) % 4))
    other = json.dumps(["shelve", *json.loads(octets)[1:]]).encode()
    yield f"/answer/{base64.urlsafe_b64encode(other).rstrip(b'=').decode()}.{mac}"
    yield "/answer/%00"
    yield "/answer/<script>"


def test_a_forged_link_is_refused(locked: Home, asks: Asks) -> None:
    for number, path in enumerate(altered(link(locked))):
        page = asks(locked, (f"192.168.7.{number + 30}", 40_000), FROM_PHONE)
        token = token_on(page, link(locked))
        for answer in (page.get(path), page.post(path, data={"form_token": token})):
            assert answer.status_code == 404
            assert "This link was not made here, or is not whole" in answer.text
            assert "left shelf" not in answer.text
    assert asked_of(locked) == []


def test_who_tries_links_has_to_wait_and_the_keeper_has_not(
    locked: Home, phone: TestClient
) -> None:
    codes = [phone.get(f"/answer/{n}.x").status_code for n in range(FREE_TRIES + 3)]
    assert codes[0] == 404
    assert codes[-1] == 429
    assert "try again in" in phone.get("/answer/x.x").text
    assert press(phone, link(locked)) == 303, "a link of ours is always heard"
    assert come_in(phone, PHRASE) == 303, "and so is the pass phrase"


def test_a_link_that_is_too_old_is_refused(locked: Home, phone: TestClient, clock: Clock) -> None:
    path = link(locked)
    token = token_on(phone, path)
    clock.past_s = VALID_MS / 1000
    for answer in (phone.get(path), phone.post(path, data={"form_token": token})):
        assert answer.status_code == 404
        assert "This link is too old" in answer.text
    assert asked_of(locked) == []


@pytest.mark.parametrize(
    "changed",
    [replace(alarm_of(), state=State.RETURNED), replace(alarm_of(), raised_ms=NOW)],
    ids=["over", "raised anew"],
)
def test_a_link_of_an_alarm_that_is_another_one_by_now(
    locked: Home, phone: TestClient, changed: object
) -> None:
    path = link(locked)
    token = token_on(phone, path)
    put(locked, changed)  # type: ignore[arg-type]
    for answer in (phone.get(path), phone.post(path, data={"form_token": token})):
        assert answer.status_code == 404
        assert "That alarm is over, or was raised anew" in answer.text
    assert asked_of(locked) == []


def test_a_link_of_another_home_is_refused(locked: Home, asks: Asks, tmp_path: Path) -> None:
    path = link(locked)
    (locked.folder / "link.key").write_bytes(b"k" * 32)
    assert asks(locked, PHONE, FROM_PHONE).get(path).status_code == 404


def test_the_form_of_another_site_or_visitor_does_nothing(
    locked: Home, phone: TestClient, asks: Asks
) -> None:
    path = link(locked)
    token = token_on(phone, path)
    for headers in ({"origin": "https://mail.example"}, {"sec-fetch-site": "cross-site"}):
        assert phone.post(path, data={"form_token": token}, headers=headers).status_code == 403
    stranger = asks(locked, PHONE, FROM_PHONE)
    assert stranger.post(path, data={"form_token": token}).status_code == 403
    assert phone.post(path, data={}).status_code == 403
    assert asked_of(locked) == []


def test_under_another_name_there_is_no_link(locked: Home, phone: TestClient) -> None:
    answer = phone.get(link(locked), headers={"host": "evil.example"})
    assert answer.status_code == 421
    assert "left shelf" not in answer.text


def test_without_a_pass_phrase_strangers_see_no_link(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    assert asks(home, PHONE, FROM_PHONE).get(link(home)).status_code == 403
    assert asks(home).get(link(home)).status_code == 200


def test_a_name_that_would_like_to_be_script(locked: Home, phone: TestClient) -> None:
    key = AlarmKey(Kind.NO_READINGS, EVIL, EVIL)
    put(locked, alarm_of(key))
    text = phone.get(link(locked, key=key)).text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert not {tag for tag, _ in elements(text)} & {"script", "img", "iframe"}


# ---- the whole way ---------------------------------------------------------------------------


def test_a_trial_leads_here_and_changes_nothing(locked: Home, phone: TestClient) -> None:
    path = urlsplit(trial_link("trial-ab12", locked, ADDRESS, NOW)).path
    assert "Message trial-ab12. Nothing is wrong." in phone.get(path).text
    done = phone.post(path, data={"form_token": token_on(phone, path)})
    assert (done.status_code, "It works" in done.text) == (200, True)
    assert asked_of(locked) == []


def test_a_trial_message_brings_picture_and_link(
    home: Home, asks: Asks, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Through the outbox, the delivery and a real HTTP endpoint, back to the page. The delivery is
    called, not started, so that a slow machine has time to draw."""

    def deliver_here(home: Home) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # apprise's own, as in the process
            deliver.run(home, check=False, stop=threading.Event())

    monkeypatch.setattr(trial, "_deliver", deliver_here)
    monkeypatch.setattr(beside, "PICTURE_SECONDS", 60.0)
    with Endpoint() as endpoint:
        text = home.settings.read_text("utf-8")
        home.settings.write_text(
            f'{text}\n[watch]\nnotify = ["{endpoint.url}"]\n[page]\naddress = "{ADDRESS}"\n',
            "utf-8",
        )
        (result,) = trial.send_trial(home, load_settings(home), wait_seconds=60)
        assert result.fault is None
        (arrival,) = endpoint.arrivals
    assert arrival.pictures == 1
    assert "Beside it: the last hours in left shelf" in arrival.body
    assert arrival.body.splitlines()[-1] == f"Message {arrival.reference}"
    found = re.search(r"Try the link: (\S+)", arrival.body)
    assert found is not None
    clock.past_s = (wall_ms() - NOW) / 1000
    page = asks(home)
    assert f"Message {arrival.reference}." in page.get(found[1]).text
    path = urlsplit(found[1]).path
    assert "It works" in page.post(path, data={"form_token": token_on(page, path)}).text


def test_an_alarm_is_answered_by_its_link(tmp_path: Path, asks: Asks, clock: Clock) -> None:
    """A real watch raises it; the link asks; the watch carries it out; all agree."""
    bench = Bench(tmp_path / "home")
    try:
        bench.report(26.0, 30)
        clock.past_s = (bench.now_ms - NOW) / 1000
        page = asks(bench.stage.home)
        found = dict(links_for(LARCH_LOW, bench.stage.home, ADDRESS, bench.now_ms))
        path = urlsplit(found[Action.ACKNOWLEDGE]).path
        assert press(page, path) == 303
        bench.report(26.0, 1)
        said = text_of(page.get(path).text)
        assert "Done by the watch at" in said
        assert "Warm side low, Larch: acknowledged." in said
        assert "acknowledged (by a link in a message," in text_of(page.get("/alarms").text)
        with AlarmStore(bench.stage.home.alarms) as store:
            assert store.alarms()[LARCH_LOW].state is State.ACKNOWLEDGED
        one = asked(bench.stage.home.alarms, 1)
        assert one is not None
        assert (one.changed, one.request.who) == (True, "link")
    finally:
        bench.close()
