"""Signed links: they do what they say for as long as they say, and nothing else."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.watch import links
from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.links import (
    VALID_MS,
    Offer,
    Trial,
    carry_out,
    links_for,
    sign,
    signing_key,
    verified,
)
from analysis.watch.requests import Action, waiting
from analysis.watch.states import HOUR_MS, Alarm, AlarmKey, Cause, Kind, State, Transition
from config.errors import NotSo, StoreFault
from config.home import Home

KEY = b"k" * 32
LARCH = AlarmKey(Kind.WARM_SIDE_LOW, "Larch é/+")
NOW = 1_900_000_000_000
OFFER = Offer(Action.ACKNOWLEDGE, LARCH, NOW - 1, NOW + 10)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A home in which one alarm stands."""
    found = Home(tmp_path)
    _record(found, State.UNACKNOWLEDGED, NOW)
    return found


def _record(home: Home, state: State, raised_ms: int) -> None:
    alarm = Alarm(LARCH, state, raised_ms=raised_ms, changed_ms=raised_ms)
    with AlarmStore(home.alarms) as store:
        change = Transition(Cause.RAISED, raised_ms, State.NORMAL, alarm)
        store.record([change], [], [], raised_ms)


def _token(home: Home, action: Action) -> str:
    found = dict(links_for(LARCH, home, "http://boas.home:8750/", NOW))
    base, _, token = found[action].rpartition("/")
    assert base == "http://boas.home:8750/answer"
    return token


def test_what_was_signed_is_what_is_offered() -> None:
    assert verified(sign(OFFER, KEY), KEY, NOW) == OFFER


def test_a_trials_link_answers_no_alarm(home: Home) -> None:
    link = links.trial_link("trial-ab12", home, "http://boas.home:8750", NOW)
    token = link.rpartition("/")[2]
    trial = Trial("trial-ab12", NOW + VALID_MS)
    assert carry_out(home, token, who="link", now_ms=NOW + 1) == trial
    with closing(open_alarms(home.alarms)) as connection:
        assert waiting(connection) == []


def test_a_link_works_once(home: Home) -> None:
    token = _token(home, Action.SHELVE)
    carry_out(home, token, who="link", now_ms=NOW + 5)
    with pytest.raises(NotSo, match="used already"):
        carry_out(home, token, who="link", now_ms=NOW + HOUR_MS)
    done = links.used(home, token)
    assert done is not None
    assert (done.request.at_ms, done.settled_ms) == (NOW + 5, None)
    with closing(open_alarms(home.alarms)) as connection:
        assert len(waiting(connection)) == 1


def test_too_old() -> None:
    with pytest.raises(NotSo, match="too old"):
        verified(sign(OFFER, KEY), KEY, NOW + 10)


@given(st.integers(0, 400), st.characters(codec="ascii"))
def test_no_sign_can_be_changed(place: int, other: str) -> None:
    token = sign(OFFER, KEY)
    place %= len(token)
    altered = token[:place] + other + token[place + 1 :]
    if altered != token:
        with pytest.raises(NotSo, match="not made here"):
            verified(altered, KEY, NOW)


@given(st.text(max_size=60))
def test_rubbish_is_refused(text: str) -> None:
    with pytest.raises(NotSo):
        verified(text, KEY, NOW)


def test_another_homes_link_is_refused() -> None:
    with pytest.raises(NotSo, match="not made here"):
        verified(sign(OFFER, b"x" * 32), KEY, NOW)


def test_a_link_takes_no_alarm_out_of_service() -> None:
    with pytest.raises(NotSo, match="nothing that a link may do"):
        verified(sign(Offer(Action.OUT_OF_SERVICE, LARCH, 0, NOW + 1), KEY), KEY, NOW)


def test_the_key_is_made_once_for_the_owner_only(tmp_path: Path) -> None:
    home = Home(tmp_path)
    key = signing_key(home)
    assert len(key) == 32
    assert signing_key(home) == key
    (file,) = tmp_path.iterdir()
    assert file.stat().st_mode & 0o777 == 0o600
    file.write_bytes(b"short")
    with pytest.raises(StoreFault, match="not a key"):
        signing_key(home)


def test_a_confirmed_link_asks_the_watch(home: Home) -> None:
    carry_out(home, _token(home, Action.ACKNOWLEDGE), who="link", now_ms=NOW + 5)
    carry_out(home, _token(home, Action.SHELVE), who="link", now_ms=NOW + 6)
    with closing(open_alarms(home.alarms)) as connection:
        asked = [(one.action, one.key, one.who, one.until_ms) for one in waiting(connection)]
    until = NOW + 6 + links.SHELVED_MS
    assert asked == [
        (Action.ACKNOWLEDGE, LARCH, "link", None),
        (Action.SHELVE, LARCH, "link", until),
    ]


def test_a_link_of_an_alarm_that_is_over_or_was_raised_anew_does_nothing(home: Home) -> None:
    token = _token(home, Action.ACKNOWLEDGE)
    for state, raised_ms in ((State.RETURNED, NOW), (State.UNACKNOWLEDGED, NOW + 1)):
        _record(home, state, raised_ms)
        with pytest.raises(NotSo, match="over, or was raised anew"):
            carry_out(home, token, who="link", now_ms=NOW + 5)
    with closing(open_alarms(home.alarms)) as connection:
        assert waiting(connection) == []


def test_no_link_where_nothing_stands_and_none_that_lasts(home: Home) -> None:
    assert links_for(AlarmKey(Kind.TOO_HOT, "Larch"), home, "http://x", NOW) == []
    with pytest.raises(NotSo, match="too old"):
        carry_out(home, _token(home, Action.ACKNOWLEDGE), who="link", now_ms=NOW + VALID_MS)


def test_the_token_shows_no_key(home: Home) -> None:
    token = _token(home, Action.ACKNOWLEDGE)
    said = links._octets(token.split(".")[0])
    assert said is not None
    assert json.loads(said)[0] == "acknowledge"
    assert signing_key(home) not in said


def test_no_link_in_a_message_made_before_the_alarm_was_raised_anew(home: Home) -> None:
    """It was held up by the network: its link must not answer for what came since."""
    assert links_for(LARCH, home, "http://x", NOW, NOW - 1) == []
    assert len(links_for(LARCH, home, "http://x", NOW, NOW)) == 2


def test_of_two_that_make_the_key_at_once_both_have_the_same(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        keys = set(pool.map(signing_key, [Home(tmp_path)] * 64))
    assert len(keys) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["link.key"]
