"""Who may look, and what is refused: forged, expired, from another site, under another name."""

from __future__ import annotations

import stat
from urllib.parse import urlsplit

import pytest
from starlette.testclient import TestClient

from analysis.page.access.access_file import access_path
from analysis.page.access.passphrase import PassphraseFile
from analysis.page.access.sessions import IDLE_MS, LONGEST_MS
from analysis.page.access.tokens import Tokens
from config.errors import NotSo, Unusable
from config.home import Home
from tests.analysis.page.conftest import ADDRESS, HERE, Asks, Clock
from tests.analysis.page.forms import come_in, token_on

PHRASE = "four warm sleeping coils"
PHONE = ("192.168.7.20", 40_000)
FROM_PHONE = "http://192.168.7.2:8750"
SESSION = "warmcoil-session"


@pytest.fixture
def locked(home: Home) -> Home:
    """A home with a pass phrase."""
    PassphraseFile(home.folder).set(PHRASE)
    return home


# ---- without a pass phrase -------------------------------------------------------------------


def test_without_a_pass_phrase_only_this_machine_may_look(home: Home, asks: Asks) -> None:
    assert asks(home).get("/").status_code == 200
    refused = asks(home, PHONE, FROM_PHONE).get("/")
    assert refused.status_code == 403
    assert "warmcoil passphrase" in refused.text


@pytest.mark.parametrize("header", ["x-forwarded-for", "forwarded", "x-real-ip"])
def test_without_a_pass_phrase_no_proxy_may_hand_strangers_on(
    page: TestClient, header: str
) -> None:
    assert page.get("/", headers={header: "192.168.7.20"}).status_code == 403


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8750", "",
     "127.0.0.1@evil.example", "evil.example/127.0.0.1", "127.0.0.1:99999", "[::1", "lоcalhost"],
)  # fmt: skip
def test_another_name_is_refused(page: TestClient, host: str) -> None:
    """DNS rebinding: a site that makes its own name point here has that name in the Host header."""
    answer = page.get("/", headers={b"host": host.encode()})
    assert answer.status_code == 421
    assert "left shelf" not in answer.text


@pytest.mark.parametrize(
    "host", ["localhost:8750", "127.0.0.1", "[::1]:8750", "LOCALHOST", "192.168.7.2"]
)
def test_own_names_and_figures_are_taken(page: TestClient, host: str) -> None:
    assert page.get("/", headers={"host": host}).status_code == 200


def test_the_name_of_the_settings_is_taken(home: Home, asks: Asks) -> None:
    text = home.settings.read_text(encoding="utf-8")
    home.settings.write_text(
        f'{text}\n[page]\naddress = "http://Boas.home:8750"\n', encoding="utf-8"
    )
    browser = asks(home)
    assert browser.get("/", headers={"host": "boas.home:8750"}).status_code == 200
    assert browser.get("/", headers={"host": "goats.home:8750"}).status_code == 421


# ---- the door --------------------------------------------------------------------------------


def test_who_did_not_say_it_sees_nothing(locked: Home, asks: Asks) -> None:
    browser = asks(locked, PHONE, FROM_PHONE)
    answer = browser.get("/?a=b")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/enter?to=%2F%3Fa%3Db"
    assert browser.get("/api/openapi.json").status_code == 401
    assert browser.get("/enter").status_code == 200


def test_who_says_it_comes_in_and_goes_where_they_wanted(locked: Home, asks: Asks) -> None:
    browser = asks(locked, PHONE, FROM_PHONE)
    token = token_on(browser, "/enter?to=/%3Fa%3Db")
    answer = browser.post("/enter", data={"form_token": token, "passphrase": PHRASE, "to": "/?a=b"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/?a=b")
    assert "left shelf" in browser.get("/").text


@pytest.mark.parametrize(
    "to",
    ["//evil.example", "https://evil.example/", "/\\evil.example", "\\\\evil.example", "/\n/x"],
)
def test_the_door_leads_nowhere_else(locked: Home, asks: Asks, to: str) -> None:
    browser = asks(locked)
    token = token_on(browser, "/enter")
    answer = browser.post("/enter", data={"form_token": token, "passphrase": PHRASE, "to": to})
    assert answer.headers["location"] == "/"


def test_a_wrong_one_does_not_come_in(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    assert come_in(browser, PHRASE + " ") == 403
    assert browser.get("/").status_code == 303


def test_leaving_ends_the_session_for_good(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    key = browser.cookies[SESSION]
    answer = browser.post("/leave", data={"form_token": token_on(browser, "/")})
    assert answer.status_code == 303
    browser.cookies.clear()
    browser.cookies.set(SESSION, key)
    assert browser.get("/").status_code == 303


def test_a_forged_session_is_none(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    key = browser.cookies[SESSION]
    other = asks(locked)
    for forged in ("x", key[:-1], key + "A", key.swapcase(), "' OR 1=1 --"):
        assert other.get("/", headers={"cookie": f"{SESSION}={forged}"}).status_code == 303
    assert other.get("/", headers={"cookie": f"{SESSION}={key}"}).status_code == 200


def test_a_session_ends_when_it_is_not_used(locked: Home, asks: Asks, clock: Clock) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    clock.past_s += IDLE_MS / 1000 - 60
    assert browser.get("/").status_code == 200
    clock.past_s += IDLE_MS / 1000 - 60
    assert browser.get("/").status_code == 200
    clock.past_s += IDLE_MS / 1000 + 60
    assert browser.get("/").status_code == 303


def test_a_session_ends_after_half_a_year_however_used(
    locked: Home, asks: Asks, clock: Clock
) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    while clock.past_s < LONGEST_MS / 1000:
        assert browser.get("/enter").status_code == 303, "inside, there is nothing to enter"
        clock.past_s += IDLE_MS / 1000 - 60
    assert browser.get("/").status_code == 303


def test_a_new_pass_phrase_puts_everybody_out(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    PassphraseFile(locked.folder).set("another warm phrase")
    assert browser.get("/").status_code == 303


def test_the_cookie_is_for_this_page_alone(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    token = token_on(browser, "/enter")
    data = {"form_token": token, "passphrase": PHRASE}
    plain = browser.post("/enter", data=data).headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(plain.split("; "))
    assert "Domain" not in plain
    assert "Secure" not in plain


def test_over_tls_the_cookie_stays_on_tls(locked: Home, asks: Asks) -> None:
    browser = asks(locked, base_url="https://127.0.0.1:8750")
    token = token_on(browser, "/enter")
    answer = browser.post("/enter", data={"form_token": token, "passphrase": PHRASE})
    assert answer.headers["set-cookie"].startswith("__Host-warmcoil-session=")
    assert "Secure" in answer.headers["set-cookie"].split("; ")


def test_what_is_kept_is_for_its_owner_and_holds_no_key(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    token = Tokens(access_path(locked.folder)).make("graph", 0)
    for path in (access_path(locked.folder), locked.folder / "passphrase"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        kept = path.read_bytes()
        for secret in (PHRASE, browser.cookies[SESSION], token):
            assert secret.encode() not in kept
    assert b"$argon2id$" in (locked.folder / "passphrase").read_bytes()


@pytest.mark.parametrize("phrase", ["", "short", "x" * 2000])
def test_a_poor_pass_phrase_is_not_taken(home: Home, phrase: str) -> None:
    with pytest.raises(Unusable):
        PassphraseFile(home.folder).set(phrase)
    assert not PassphraseFile(home.folder).is_set


# ---- forms -----------------------------------------------------------------------------------


def test_a_form_from_another_site_does_nothing(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    data = {"form_token": token_on(browser, "/")}
    for headers in (
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://127.0.0.1:8750.evil.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        assert browser.post("/leave", data=data, headers=headers).status_code == 403, headers
    assert browser.get("/").status_code == 200
    ours = {"origin": ADDRESS, "sec-fetch-site": "same-origin"}
    assert browser.post("/leave", data=data, headers=ours).status_code == 303


def test_a_form_needs_the_token_that_was_shown_to_this_very_visitor(
    locked: Home, asks: Asks
) -> None:
    browser, other = asks(locked), asks(locked)
    come_in(browser, PHRASE)
    come_in(other, PHRASE)
    own, others = token_on(browser, "/"), token_on(other, "/")
    assert own != others
    wrong = ["", "0" * 64, others, own[:-1], own.upper(), "é"]
    for token in wrong:
        assert browser.post("/leave", data={"form_token": token}).status_code == 403
    assert browser.post("/leave").status_code == 403
    assert browser.post("/leave", json={"form_token": own}).status_code == 403
    assert browser.post(f"/leave?form_token={own}").status_code == 403
    assert browser.post("/leave", data={"form_token": own}).status_code == 303


def test_the_token_before_coming_in_is_none_afterwards(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    before = token_on(browser, "/enter")
    come_in(browser, PHRASE)
    assert browser.post("/leave", data={"form_token": before}).status_code == 403


def test_a_form_outlives_the_process_that_showed_it(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    come_in(browser, PHRASE)
    data = {"form_token": token_on(browser, "/")}
    again = asks(locked)
    again.cookies.update(browser.cookies)
    assert again.post("/leave", data=data).status_code == 303


def test_too_much_is_not_read(locked: Home, asks: Asks) -> None:
    browser = asks(locked)
    assert browser.post("/enter", data={"passphrase": "x" * 1_100_000}).status_code == 413


# ---- tokens ----------------------------------------------------------------------------------


def test_a_token_opens_the_api_and_nothing_else_until_it_is_revoked(
    locked: Home, asks: Asks
) -> None:
    browser, tokens = asks(locked, PHONE, FROM_PHONE), Tokens(access_path(locked.folder))
    shown = {"authorization": f"Bearer {tokens.make('graph', 0)}"}
    assert browser.get("/api/openapi.json", headers=shown).status_code == 200
    assert browser.get("/", headers=shown).status_code == 303
    assert browser.post("/leave", headers=shown).status_code in (401, 403)
    tokens.revoke("graph")
    refused = browser.get("/api/openapi.json", headers=shown)
    assert refused.status_code == 401
    assert refused.headers["www-authenticate"].startswith("Bearer")


def test_a_forged_token_is_none(locked: Home, asks: Asks) -> None:
    browser, tokens = asks(locked), Tokens(access_path(locked.folder))
    token = tokens.make("graph", 0)
    for forged in (token[:-1], token + "x", "warmcoil_", "", "graph"):
        headers = {"authorization": f"Bearer {forged}"}
        assert browser.get("/api/openapi.json", headers=headers).status_code == 401


def test_a_token_has_a_name_of_its_own(home: Home) -> None:
    tokens = Tokens(access_path(home.folder))
    tokens.make("graph", 0)
    for name in ("graph", " graph ", "", "a\nb", "x" * 65):
        with pytest.raises(Unusable):
            tokens.make(name, 0)
    with pytest.raises(NotSo):
        tokens.revoke("grph")
    assert [one.name for one in tokens.all()] == ["graph"]


# ---- what every answer carries ---------------------------------------------------------------


def test_every_answer_says_what_the_browser_must_refuse(page: TestClient) -> None:
    for path in ("/", "/enter", "/nowhere", "/api/openapi.json", "/api/nowhere"):
        headers = page.get(path).headers
        policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert "unsafe" not in policy["script-src"] + policy["default-src"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["cache-control"] == "no-store"


def test_a_fault_shows_nothing_of_the_inside(
    home: Home, asks: Asks, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.page.screens.now.enclosures_now", lambda _home: 1 / 0)
    answer = asks(home).get("/")
    assert answer.status_code == 500
    assert "ZeroDivision" not in answer.text
    assert "readings go on" in answer.text
    assert answer.headers["content-security-policy"]


def test_a_session_is_read_from_the_address_that_asks(locked: Home, asks: Asks) -> None:
    """The page works under its address in figures from a phone just as from here."""
    browser = asks(locked, PHONE, FROM_PHONE)
    come_in(browser, PHRASE)
    assert browser.get("/").status_code == 200
    assert urlsplit(FROM_PHONE).hostname != HERE[0]
