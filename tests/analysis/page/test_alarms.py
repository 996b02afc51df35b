"""The alarms on the page: told in sentences, and answered through the watch alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from analysis.page.alarm_asking import end_of, morning_after
from analysis.page.alarm_past import episodes
from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.names import code_of
from analysis.watch.requests import Action, waiting
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Transition
from collector.book.records import Meal
from config.errors import Unusable
from config.home import Home
from config.settings import Settings
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import DAY, HOUR, MINUTE, NOW
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.test_meal import text_of
from tests.analysis.watch.test_watcher import LOW as LARCH_LOW
from tests.analysis.watch.test_watcher import SILENT, Bench

LOW = AlarmKey(Kind.WARM_SIDE_LOW, "left shelf")
SEEN = 'name="seen" value="([0-9]*)"'

Raise = Callable[..., None]


def alarm_of(key: AlarmKey = LOW, state: State = State.UNACKNOWLEDGED) -> Alarm:
    return Alarm(
        key, state, Priority.HIGH, since_ms=NOW - 2 * HOUR, raised_ms=NOW - HOUR,
        changed_ms=NOW - HOUR, setpoint=28.0, value=27.2, lowest=24.12,
    )  # fmt: skip


def put(home: Home, *alarms: Alarm, cause: Cause = Cause.RAISED, who: str | None = None) -> None:
    with AlarmStore(home.alarms) as store:
        store.record(
            [
                Transition(cause, one.changed_ms or NOW, State.NORMAL, one, who=who)
                for one in alarms
            ],
            [], [], NOW,
        )  # fmt: skip


def fields(page: TestClient, action: str, path: str = "/alarms") -> dict[str, str]:
    """What a browser sends when the button of this action is pressed."""
    for form in re.findall(r"<form.*?</form>", page.get(path).text, re.DOTALL):
        if f'value="{action}"' in form:
            return {
                "action": action,
                **dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)),
            }
    raise AssertionError(f"nothing to {action}")


def asked(home: Home) -> list[tuple[Action, AlarmKey, str, int | None]]:
    if not home.alarms.exists():
        return []
    with closing(open_alarms(home.alarms)) as connection:
        return [(one.action, one.key, one.who, one.until_ms) for one in waiting(connection)]


# ---- told ------------------------------------------------------------------------------------


def test_without_alarms_that_is_said(page: TestClient) -> None:
    said = text_of(page.get("/alarms").text)
    assert "No alarm stands or waits for an answer." in said
    assert 'href="/alarms"' in page.get("/").text


def test_an_alarm_is_a_sentence_with_all_that_is_needed(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    said = text_of(asks(home).get("/alarms").text)
    assert "Not acknowledged" in said
    assert "The warm side of left shelf (back room) has been below 28.0 °C since 20:35" in said
    assert "lowest so far 24.1 °C" in said
    assert "Priority high; not acknowledged; since Thu 2 Apr 2026, 20:35, 2 h ago." in said
    assert "Maren is digesting a 180 g rat: 95 h since its meal." in said
    assert (
        "First: check that the heater and its thermostat have power. Do not handle Maren." in said
    )
    assert "It reads 31.6 °C now; the alarm ends when that has lasted." in said


def test_each_state_has_its_place(home: Home, asks: Asks) -> None:
    hot = AlarmKey(Kind.TOO_HOT, "left shelf")
    put(home, alarm_of(hot, State.RETURNED))
    put(home, alarm_of(state=State.ACKNOWLEDGED), cause=Cause.ACKNOWLEDGED, who="Ana")
    shelved = replace(alarm_of(SILENT), shelved_until_ms=NOW + 3 * HOUR)
    put(home, shelved, cause=Cause.SHELVED, who="page")
    off = Alarm(AlarmKey(Kind.HUMIDITY_LOW, "left shelf"), changed_ms=NOW, out_of_service=True)
    put(home, off, cause=Cause.OUT_OF_SERVICE, who="Ana")
    said = text_of(asks(home).get("/alarms").text)
    places = [
        "Returned to normal, not acknowledged", "Too hot, left shelf: since",
        "Acknowledged, and still standing", "acknowledged (by Ana, Thu 2 Apr 2026, 21:35)",
        "Shelved", "shelved until Fri 3 Apr 2026, 01:35 (on the page, Thu 2 Apr 2026, 21:35)",
        "Out of service", "It is not judged until it is put in service again.",
    ]  # fmt: skip
    found = [said.index(one) for one in places]
    assert found == sorted(found)


def test_what_follows_from_a_fault_stands_under_it(home: Home, asks: Asks) -> None:
    cause = AlarmKey(Kind.SEVERAL_COOLING)
    put(home, alarm_of(cause), replace(alarm_of(), under=cause))
    page = asks(home)
    said = text_of(page.get("/alarms").text)
    assert said.index("What follows from it") < said.index("Warm side low in left shelf")
    assert page.get("/alarms").text.count('value="acknowledge"') == 1


def test_the_first_screen_leads_there(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    page = asks(home)
    assert f'href="/alarms#alarm-{code_of(LOW)}"' in page.get("/").text
    assert f'id="alarm-{code_of(LOW)}"' in page.get("/alarms").text


def test_past_alarms_are_told_with_who_answered(home: Home, asks: Asks) -> None:
    over = replace(alarm_of(state=State.RETURNED), changed_ms=NOW - 30 * MINUTE)
    with AlarmStore(home.alarms) as store:
        store.record(
            [
                Transition(Cause.RAISED, NOW - HOUR, State.NORMAL, alarm_of()),
                Transition(Cause.CLEARED, NOW - 30 * MINUTE, State.UNACKNOWLEDGED, over),
                Transition(Cause.ACKNOWLEDGED, NOW, State.RETURNED,
                           replace(over, state=State.NORMAL), who="link"),
            ],
            [], [], NOW,
        )  # fmt: skip
        (one,) = episodes(store.transitions())
    assert (one.raised_ms, one.ended_ms, one.lowest) == (NOW - HOUR, NOW - 30 * MINUTE, 24.12)
    page = asks(home)
    said = text_of(page.get("/alarms").text)
    assert "No alarm stands or waits" in said
    assert "30 min, until Thu 2 Apr 2026, 22:05 lowest 24.1 °C" in said
    assert "acknowledged by a link in a message, 22:35" in said


def test_names_that_would_like_to_be_script(home: Home, asks: Asks) -> None:
    silent = AlarmKey(Kind.NO_READINGS, EVIL, EVIL)
    put(home, alarm_of(AlarmKey(Kind.TOO_HOT, EVIL)), alarm_of(silent))
    put(home, alarm_of(AlarmKey(Kind.WARM_SIDE_LOW, EVIL), State.NORMAL), cause=Cause.CLEARED)
    page = asks(home)
    page.post("/alarms", data=fields(page, "acknowledge"))
    text = page.get("/alarms?asked=1").text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    for tag, attributes in elements(text):
        assert tag not in ("img", "script"), attributes
        assert not any(name.startswith("on") for name in attributes)


# ---- answered --------------------------------------------------------------------------------


def test_pressing_asks_the_watch_and_changes_nothing_itself(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    page = asks(home)
    done = page.post("/alarms", data=fields(page, "acknowledge"))
    assert (done.status_code, done.headers["location"]) == (303, "/alarms?asked=1")
    assert asked(home) == [(Action.ACKNOWLEDGE, LOW, "page", None)]
    text = page.get("/alarms?asked=1").text
    said = text_of(text)
    assert "asked at 22:35 to acknowledge. The watch will carry it out at its next look" in said
    assert "Not acknowledged" in said
    assert 'value="acknowledge"' not in text, "it is asked already"


def test_a_watch_that_does_not_run_is_noticed(home: Home, asks: Asks, clock: Clock) -> None:
    put(home, alarm_of())
    page = asks(home)
    page.post("/alarms", data=fields(page, "acknowledge"))
    clock.past_s = 300
    said = text_of(page.get("/alarms?asked=1").text)
    assert "5 min ago. The watch has not carried it out: see that it runs." in said


def test_the_same_form_sent_twice_asks_once(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    page = asks(home)
    data = fields(page, "acknowledge")
    answers = [page.post("/alarms", data=data) for _ in range(2)]
    assert [one.headers["location"] for one in answers] == ["/alarms?asked=1"] * 2
    assert len(asked(home)) == 1


def test_a_form_from_before_the_alarm_changed_asks_nothing(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    page = asks(home)
    data = fields(page, "acknowledge")
    put(home, replace(alarm_of(), raised_ms=NOW, changed_ms=NOW))
    answer = page.post("/alarms", data=data)
    assert answer.status_code == 409
    assert "Nothing was asked: it has changed since this page was shown" in answer.text
    assert asked(home) == []


@pytest.mark.parametrize(
    ("until", "hours"), [("1h", 1), ("4h", 4), ("1d", 24), ("7d", 168), (f"at {NOW + HOUR}", 1)]
)
def test_a_shelving_ends_when_it_was_chosen_to(
    home: Home, asks: Asks, until: str, hours: int
) -> None:
    put(home, alarm_of())
    page = asks(home)
    page.post("/alarms", data={**fields(page, "shelve"), "until": until})
    assert asked(home) == [(Action.SHELVE, LOW, "page", NOW + hours * HOUR)]


@pytest.mark.parametrize(
    "until",
    ["", "for ever", f"at {NOW}", f"at {NOW + 31 * DAY}", "at -5", "at ٣", "at " + "9" * 40],
)
def test_a_shelving_always_has_an_end_that_can_be(home: Home, asks: Asks, until: str) -> None:
    put(home, alarm_of())
    page = asks(home)
    assert page.post("/alarms", data={**fields(page, "shelve"), "until": until}).status_code == 400
    assert asked(home) == []
    with pytest.raises(Unusable):
        end_of(until, NOW)


def test_what_is_shelved_can_be_unshelved(home: Home, asks: Asks) -> None:
    put(home, replace(alarm_of(), shelved_until_ms=NOW + HOUR), cause=Cause.SHELVED)
    page = asks(home)
    page.post("/alarms", data=fields(page, "unshelve"))
    assert asked(home) == [(Action.UNSHELVE, LOW, "page", None)]


def test_taking_out_of_service_is_asked_of_the_watch_once_it_is_confirmed(
    home: Home, asks: Asks
) -> None:
    put(home, alarm_of())
    page = asks(home)
    sent = fields(page, "out of service")
    refused = page.post("/alarms", data=sent)
    assert refused.status_code == 422
    assert "Nothing was asked: an alarm that is out of service says nothing" in refused.text
    assert asked(home) == []
    for _ in range(2):  # sent twice, asked once
        assert page.post("/alarms", data={**sent, "sure": "yes"}).status_code == 303
    assert asked(home) == [(Action.OUT_OF_SERVICE, LOW, "page", None)]


def test_the_morning_is_the_homes_also_when_the_clocks_change() -> None:
    """Summer time began in Lisbon on 29 March 2026 at 01:00 UTC (tz database)."""
    settings = Settings(time_zone="Europe/Lisbon")
    evening_ms = 1_774_735_200_000  # 2026-03-28T22:00Z
    assert morning_after(evening_ms, settings) == evening_ms + 9 * HOUR  # 08:00 WEST is 07:00Z
    at_eight_ms = evening_ms + 9 * HOUR
    assert morning_after(at_eight_ms, settings) == at_eight_ms + DAY


# ---- refused ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [{"form_token": ""}, {"form_token": "0" * 64}, {"mark": ""}, {"mark": "x" * 24},
     {"alarm": "ffffff"}, {"alarm": ""}, {"alarm": "%"}, {"action": "in service"},
     {"action": "DROP"}, {"action": "unshelve"}, {"seen": "1"}],
)  # fmt: skip
def test_forged_forms_ask_nothing(home: Home, asks: Asks, wrong: dict[str, str]) -> None:
    put(home, alarm_of())
    page = asks(home)
    answer = page.post("/alarms", data={**fields(page, "acknowledge"), **wrong})
    assert answer.status_code in (400, 403, 404, 409)
    assert asked(home) == []


@pytest.mark.parametrize(
    "headers", [{"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}]
)
def test_another_site_asks_nothing(home: Home, asks: Asks, headers: dict[str, str]) -> None:
    put(home, alarm_of())
    page = asks(home)
    answer = page.post("/alarms", data=fields(page, "acknowledge"), headers=headers)
    assert answer.status_code == 403
    assert asked(home) == []


def test_fetching_asks_nothing(home: Home, asks: Asks) -> None:
    put(home, alarm_of())
    page = asks(home)
    data = fields(page, "acknowledge")
    assert page.get("/alarms", params=data).status_code == 200
    assert page.get("/alarms?asked=99999").status_code == 200
    assert page.get("/alarms?asked=99999999999999999999").status_code == 422
    assert asked(home) == []


# ---- a whole turn ----------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    one = Bench(tmp_path / "home")
    yield one
    one.close()


def test_a_whole_turn(bench: Bench, asks: Asks, clock: Clock) -> None:
    """A real watch raises it, the page asks, the watch carries it out, page and file agree."""
    bench.stage.enter(
        Meal(0, "Tove", taken_at_ms=bench.now_ms - 60 * HOUR, prey="rat", prey_mass_g=220.0)
    )
    bench.report(31.0, 10)
    bench.report(26.0, 30)
    clock.past_s = (bench.now_ms - NOW) / 1000
    page = asks(bench.stage.home)
    said = text_of(page.get("/alarms").text)
    assert "Warm side low in Larch: 26.0 °C, Tove digesting" in said
    assert "Tove is digesting a 220 g rat: 60 h since its meal." in said

    where = page.post("/alarms", data=fields(page, "acknowledge")).headers["location"]
    bench.report(26.0, 1)
    said = text_of(page.get(where).text)
    assert "Done by the watch at" in said
    assert "Warm side low, Larch: acknowledged." in said
    assert "Acknowledged, and still standing" in said
    assert bench.store.alarms()[LARCH_LOW].state is State.ACKNOWLEDGED

    where = page.post("/alarms", data={**fields(page, "shelve"), "until": "1h"}).headers["location"]
    bench.report(26.0, 1)
    assert "Warm side low, Larch: shelved until" in text_of(page.get(where).text)
    bench.report(30.0, 70)
    said = text_of(page.get(where).text)
    assert "No alarm stands or waits for an answer." in said
    assert "lowest 26.0 °C acknowledged on the page" in said


def test_what_came_too_late_is_said(bench: Bench, asks: Asks, clock: Clock) -> None:
    bench.report(26.0, 30)
    clock.past_s = (bench.now_ms - NOW) / 1000
    page = asks(bench.stage.home)
    data = fields(page, "acknowledge")
    bench.ask(Action.ACKNOWLEDGE, LARCH_LOW)
    where = page.post("/alarms", data=data).headers["location"]
    bench.report(26.0, 1)
    said = text_of(page.get(where).text)
    assert "there was nothing to acknowledge any more. It is acknowledged." in said
