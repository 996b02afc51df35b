"""What the keeper reads: what, since when, how bad, which animal, what to do first."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from analysis.watch.outbox import Urgency
from analysis.watch.phrases import LastWord, Names, hours_and_minutes
from analysis.watch.states import (
    Alarm,
    AlarmKey,
    Cause,
    Digesting,
    Kind,
    Priority,
    State,
    Transition,
)
from analysis.watch.texts import message_of, messages_of, reference_of
from collector.readings import Flag
from config.settings import Settings

SETTINGS = Settings.model_validate(
    {
        "time_zone": "Europe/Lisbon",
        "probe": [{"id": "urn:dev:ow:28ff641f43b2c1d0", "name": "left shelf"}],
    }
)
PROBE = "urn:dev:ow:28ff641f43b2c1d0"
NAMES = Names(SETTINGS, {"Larch": "back room"}, {PROBE: "warm side"})


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


TOVE = Digesting(
    "Tove", "a 220 g rat", ms("2026-03-02T20:40+00:00"), ms("2026-03-02T20:40+00:00"), 10**14
)


def low(cause: Cause = Cause.RAISED, *, digesting: tuple[Digesting, ...] = ()) -> Transition:
    alarm = Alarm(
        key=AlarmKey(Kind.WARM_SIDE_LOW, "Larch"),
        state=State.UNACKNOWLEDGED,
        priority=Priority.HIGH if digesting else Priority.MEDIUM,
        since_ms=ms("2026-03-04T03:12+00:00"),
        raised_ms=ms("2026-03-04T03:32+00:00"),
        setpoint=28.0,
        deadband=0.5,
        value=26.44,
        lowest=26.31,
    )
    at_ms = ms("2026-03-04T03:32+00:00")
    if cause is Cause.CLEARED:
        alarm = replace(alarm, state=State.RETURNED, lowest=24.06)
        over_ms = ms("2026-03-04T05:22+00:00")
        return Transition(cause, over_ms + 300_000, State.UNACKNOWLEDGED, alarm, 28.71, over_ms,
                          digesting)  # fmt: skip
    return Transition(cause, at_ms, State.NORMAL, alarm, 26.44, digesting=digesting)


def silent(cause: Cause = Cause.RAISED) -> Transition:
    alarm = Alarm(
        key=AlarmKey(Kind.NO_READINGS, "Larch", PROBE),
        state=State.UNACKNOWLEDGED,
        since_ms=ms("2026-03-04T03:12+00:00"),
        raised_ms=ms("2026-03-04T03:22+00:00"),
    )
    if cause is Cause.CLEARED:
        alarm = replace(alarm, state=State.RETURNED)
    over_ms = ms("2026-03-04T03:40+00:00") if cause is Cause.CLEARED else None
    return Transition(cause, ms("2026-03-04T03:42+00:00"), State.NORMAL, alarm, None, over_ms)


def test_warm_side_low() -> None:
    message = message_of(low(digesting=(TOVE,)), NAMES)
    assert message.title == "Warm side low in Larch: 26.4 °C, Tove digesting"
    assert message.urgency is Urgency.HIGH
    assert message.body.splitlines() == [
        (
            "The warm side of Larch (back room) has been below 28.0 °C since 03:12 WET on "
            "Wed 4 Mar. At 03:32 it read 26.4 °C; lowest so far 26.3 °C."
        ),
        "Tove is digesting a 220 g rat, taken 30 h before that.",
        "First: check that the heater and its thermostat have power. Do not handle Tove.",
        "Warmcoil watches; it never switches heat.",
        f"Message {message.reference}",
    ]


def test_nobody_digesting() -> None:
    message = message_of(low(), NAMES)
    assert message.title == "Warm side low in Larch: 26.4 °C"
    assert message.urgency is Urgency.MEDIUM
    assert "digesting" not in message.body
    assert "handle" not in message.body


def test_several_digesting() -> None:
    other = replace(TOVE, animal="Maren", prey="a 90 g rat")
    message = message_of(low(digesting=(TOVE, other)), NAMES)
    assert message.title == "Warm side low in Larch: 26.4 °C, Maren and 1 more digesting"
    assert "Do not handle Maren and Tove." in message.body


def test_all_clear() -> None:
    message = message_of(low(Cause.CLEARED, digesting=(TOVE,)), NAMES)
    assert message.title == "All clear: warm side of Larch back at 28.7 °C"
    assert message.urgency is Urgency.ALL_CLEAR
    assert message.body.splitlines()[:2] == [
        (
            "The warm side of Larch (back room) is back. It was low for 2 h 10 min, from 03:12 "
            "WET on Wed 4 Mar to 05:22; lowest 24.1 °C, the floor is 28.0 °C."
        ),
        "What it meant for the meal of Tove: warmcoil review",
    ]


def test_escalated() -> None:
    message = message_of(low(Cause.ESCALATED, digesting=(TOVE,)), NAMES)
    assert message.title == "Warm side still low in Larch: 26.4 °C, Tove digesting"
    assert "now more urgent" in message.body


def test_a_beginning_that_nobody_saw_is_said_to_be_one() -> None:
    transition = low(Cause.CLEARED)
    transition = replace(transition, alarm=replace(transition.alarm, since_open=True))
    body = message_of(transition, NAMES).body
    assert "for at least 2 h 10 min, from 03:12 WET on Wed 4 Mar or before to 05:22" in body


def test_a_value_that_rounds_to_the_floor_is_not_said_to_be_it() -> None:
    transition = low()
    alarm = replace(transition.alarm, lowest=27.96)
    message = message_of(replace(transition, value=27.97, alarm=alarm), NAMES)
    assert message.title == "Warm side low in Larch: just under 28.0 °C"
    assert "it read just under 28.0 °C; lowest so far just under 28.0 °C" in message.body


def test_the_keepers_units() -> None:
    fahrenheit = Settings.model_validate({"show": {"temperature": "degF"}})
    message = message_of(low(), Names(fahrenheit))
    assert message.title == "Warm side low in Larch: 79.6 °F"  # 26.44 × 1.8 + 32 = 79.592
    assert "below 82.4 °F since" in message.body


def test_the_hour_that_comes_twice_has_its_zone() -> None:
    transition = low()
    for utc, said in (
        ("2026-10-25T00:30+00:00", "01:30 WEST"),
        ("2026-10-25T01:30+00:00", "01:30 WET"),
    ):
        alarm = replace(transition.alarm, since_ms=ms(utc))
        assert (
            f"since {said} on Sun 25 Oct"
            in message_of(replace(transition, alarm=alarm), NAMES).body
        )


def test_silent_probe() -> None:
    last = {PROBE: LastWord(ms("2026-03-04T03:12+00:00"), 30.92)}
    message = message_of(silent(), replace(NAMES, last_words=last))
    assert message.title == "No readings: warm side of Larch"
    assert message.body.splitlines()[0] == (
        f"Probe left shelf ({PROBE}), warm side of Larch (back room), has been silent. Its last "
        "usable reading was 30.9 °C, 03:12 WET on Wed 4 Mar."
    )
    assert "that the collector runs" in message.body


def test_a_probe_that_never_spoke() -> None:
    body = message_of(silent(), NAMES).body
    assert "has been silent since it was placed, 03:12 WET on Wed 4 Mar." in body


def test_a_probe_that_reports_rubbish_is_not_called_silent() -> None:
    last = {PROBE: LastWord(ms("2026-03-04T03:12+00:00"), 30.92, Flag.DISCONNECTED)}
    message = message_of(silent(), replace(NAMES, last_words=last))
    assert "a probe that is not connected" in message.body
    assert "silent" not in message.body


def test_silence_over() -> None:
    last = {PROBE: LastWord(ms("2026-03-04T03:40+00:00"), 30.5)}
    message = message_of(silent(Cause.CLEARED), replace(NAMES, last_words=last))
    assert message.title == "All clear: warm side of Larch reports again"
    assert "reports again at 30.5 °C. It gave nothing usable for 28 min" in message.body


@pytest.mark.parametrize("make", [low, silent])
def test_no_longer_watched(make: object) -> None:
    assert callable(make)
    message = message_of(make(Cause.WITHDRAWN), NAMES)
    assert message.urgency is Urgency.NOTE
    assert "no longer watched" in message.title


def test_a_title_is_one_short_line_whatever_the_names() -> None:
    transition = low(digesting=(replace(TOVE, animal="T\nove " * 30),))
    alarm = replace(transition.alarm, key=AlarmKey(Kind.WARM_SIDE_LOW, "Larch\r\n" * 40))
    message = message_of(replace(transition, alarm=alarm), NAMES)
    assert "\n" not in message.title
    assert len(message.title) <= 120


def test_the_reference_is_the_same_in_every_run_and_of_that_transition_alone() -> None:
    one = low()
    assert reference_of(one) == reference_of(low()) == "e63ab827d7"
    others = [low(Cause.CLEARED), replace(one, at_ms=one.at_ms + 1), silent()]
    assert len({reference_of(t) for t in (one, *others)}) == 4


def test_raised_and_over_in_one_evaluation_is_one_message() -> None:
    both = [low(), silent(), low(Cause.CLEARED)]
    assert [m.title for m in messages_of(both, NAMES)] == [
        "No readings: warm side of Larch",
        "All clear: warm side of Larch back at 28.7 °C",
    ]
    again = [low(), low(Cause.CLEARED), low()]
    assert [m.urgency for m in messages_of(again, NAMES)] == [Urgency.ALL_CLEAR, Urgency.MEDIUM]


@pytest.mark.parametrize(
    ("span_ms", "said"),
    [(0, "0 min"), (59_999, "under 1 min"), (60_000, "1 min"), (3_599_999, "59 min"),
     (3_600_000, "1 h"), (7_800_000, "2 h 10 min")],
)  # fmt: skip
def test_spans(span_ms: int, said: str) -> None:
    assert hours_and_minutes(span_ms) == said
