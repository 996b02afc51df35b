"""The texts of every kind of alarm: each can be said, each is short, each says what to do first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.watch.outbox import Urgency
from analysis.watch.phrases import LastWord, Names
from analysis.watch.states import (
    HOUR_MS,
    Alarm,
    AlarmKey,
    Cause,
    Digesting,
    Kind,
    Priority,
    State,
    Transition,
)
from analysis.watch.texts import message_of, messages_of
from collector.readings import Flag
from config.settings import Settings
from tests.analysis.watch.test_texts import ms

SETTINGS = Settings.model_validate({"time_zone": "Europe/Lisbon"})
NAMES = Names(
    SETTINGS,
    {"Larch": "back room"},
    {"p1": "warm side"},
    {"p1": LastWord(ms("2026-03-04T03:12+00:00"), 30.9, Flag.JUMP)},
    hours_to_full=80.0,
)
AT_MS = ms("2026-03-04T03:32+00:00")
SINCE_MS = ms("2026-03-04T02:12+00:00")
TOVE = Digesting("Tove", "a 220 g rat", SINCE_MS - 20 * HOUR_MS, SINCE_MS - 20 * HOUR_MS, 10**14)
PLACES = {
    Kind.NO_READINGS: ("Larch", "p1"), Kind.PROBE_DOUBTED: ("Larch", "p1"),
    Kind.PROBE_STUCK: ("Larch", "p1"), Kind.PROBES_DISAGREE: ("Larch", "warm side"),
    Kind.LINE_AWAY: ("", "serial /dev/ttyUSB0"),
}  # fmt: skip
HOME = {
    Kind.SEVERAL_COOLING, Kind.SEVERAL_SILENT, Kind.COLLECTOR_SILENT, Kind.BROKER_AWAY,
    Kind.NOT_WRITTEN, Kind.CARD_FILLING, Kind.CLOCK_UNSURE, Kind.FLOOD,
}  # fmt: skip
CAUSES = (Cause.RAISED, Cause.ESCALATED, Cause.CLEARED, Cause.WITHDRAWN, Cause.SURFACED,
          Cause.UNSHELVED)  # fmt: skip


def change(kind: Kind, cause: Cause = Cause.RAISED, **changes: object) -> Transition:
    enclosure, probe = PLACES.get(kind, ("" if kind in HOME else "Larch", None))
    alarm = Alarm(
        AlarmKey(kind, enclosure, probe), State.UNACKNOWLEDGED, Priority.MEDIUM, since_ms=SINCE_MS,
        raised_ms=AT_MS, changed_ms=AT_MS, setpoint=28.0, deadband=0.5, value=26.44, lowest=26.3,
    )  # fmt: skip
    if cause in (Cause.CLEARED, Cause.WITHDRAWN):
        alarm = replace(alarm, state=State.RETURNED)
    alarm = replace(alarm, **changes)  # type: ignore[arg-type]
    over_ms = AT_MS if not alarm.standing else None
    names = ("Birch", "Larch", "Rowan") if kind in HOME else ()
    return Transition(cause, AT_MS, State.NORMAL, alarm, alarm.value, over_ms, (TOVE,), names=names)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("cause", CAUSES)
def test_everything_can_be_said_on_a_lock_screen(kind: Kind, cause: Cause) -> None:
    message = message_of(change(kind, cause), NAMES)
    assert 5 < len(message.title) <= 120
    assert "\n" not in message.title
    assert message.title[0].isupper() or message.title[0].isdigit()
    assert "None" not in message.title + message.body
    if cause.calls:
        assert message.body.count("First: ") == 1
        assert message.urgency is Urgency.MEDIUM
    else:
        assert message.urgency in (Urgency.ALL_CLEAR, Urgency.NOTE)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("cause", CAUSES)
def test_nothing_that_is_not_known_stops_a_message(kind: Kind, cause: Cause) -> None:
    one = change(kind, cause, since_ms=None, setpoint=None, value=None, lowest=None)
    message = message_of(replace(one, value=None, names=(), digesting=()), Names(SETTINGS))
    assert "None" not in message.title + message.body


@pytest.mark.parametrize(
    ("kind", "title"),
    [
        (Kind.TOO_HOT, "Too hot in Larch: 38.1 °C"),
        (Kind.COOL_SIDE_WARM, "Cool side too warm in Larch: 38.1 °C"),
        (Kind.HUMIDITY_LOW, "Air too dry in Larch: 38 %"),
        (Kind.HUMIDITY_HIGH, "Air too moist in Larch: 38 %"),
        (Kind.PROBE_DOUBTED, "Probe cannot be believed: warm side of Larch"),
        (Kind.PROBE_STUCK, "Probe is stuck: warm side of Larch"),
        (Kind.PROBES_DISAGREE, "Probes disagree by 38.1 °C: warm side of Larch"),
        (Kind.SEVERAL_COOLING, "3 enclosures are cooling: is the power out?"),
        (Kind.SEVERAL_SILENT, "Several probes are silent: Birch, Larch and Rowan"),
        (Kind.COLLECTOR_SILENT, "No readings from any probe"),
        (Kind.BROKER_AWAY, "The MQTT broker is away"),
        (Kind.LINE_AWAY, "The line serial /dev/ttyUSB0 is away"),
        (Kind.NOT_WRITTEN, "Readings cannot be written"),
        (Kind.CARD_FILLING, "The card is filling: 38 MB left"),
        (Kind.CLOCK_UNSURE, "The clock is not sure"),
        (Kind.FLOOD, "Many alarms at once: 3 stand"),
    ],
)
def test_titles(kind: Kind, title: str) -> None:
    assert message_of(change(kind, value=38.1), NAMES).title == title


def test_a_fall_says_when_it_passes_the_floor_and_who_digests() -> None:
    foretold = change(Kind.WARM_SIDE_LOW, foretold_ms=ms("2026-03-04T04:20+00:00"), value=29.6)
    message = message_of(foretold, NAMES)
    assert message.title == "Warm side of Larch is falling: 28.0 °C by about 04:20, Tove digesting"
    assert message.body.splitlines()[:2] == [
        (
            "The warm side of Larch (back room) has been falling since about 02:12 WET on Wed 4 "
            "Mar. At 03:32 it read 29.6 °C; if it goes on it passes 28.0 °C at about 04:20. That "
            "is an estimate from how it has fallen so far."
        ),
        "Tove is digesting a 220 g rat, taken 21 h before that.",
    ]


def test_a_fall_that_stopped_was_never_low() -> None:
    message = message_of(change(Kind.WARM_SIDE_LOW, Cause.CLEARED, value=29.6, lowest=29.0), NAMES)
    assert message.title == "All clear: warm side of Larch falls no more, 29.6 °C"
    assert "low for" not in message.body


def test_how_long_the_card_lasts_is_said_where_it_is_known() -> None:
    one = change(Kind.CARD_FILLING)
    assert "lasts about 3 days" in message_of(one, NAMES).body
    assert "lasts" not in message_of(one, replace(NAMES, hours_to_full=None)).body


def test_what_comes_again_says_why_and_what_chatters_says_so_once() -> None:
    shelved = message_of(change(Kind.TOO_HOT, Cause.UNSHELVED), NAMES).body
    assert shelved.startswith("Its shelving has ended, and it stands still.")
    surfaced = message_of(change(Kind.TOO_HOT, Cause.SURFACED), NAMES).body
    assert surfaced.startswith("What it followed from is over, and this stands still.")
    held = "It comes and goes"
    assert held in message_of(change(Kind.TOO_HOT, latched=True), NAMES).body
    assert held not in message_of(change(Kind.TOO_HOT), NAMES).body
    assert held not in message_of(change(Kind.TOO_HOT, Cause.ESCALATED, latched=True), NAMES).body


def test_why_a_probe_is_doubted() -> None:
    body = message_of(change(Kind.PROBE_DOUBTED), NAMES).body
    assert "a jump that no enclosure can make" in body
    assert "last usable reading was 30.9 °C, 03:12 WET" in body


def test_only_what_is_told_becomes_a_message() -> None:
    told = change(Kind.TOO_HOT)
    untold = [replace(change(kind), told=False) for kind in Kind]
    assert [m.title for m in messages_of([*untold, told], NAMES)] == [message_of(told, NAMES).title]


def test_a_long_list_of_animals_stays_short() -> None:
    many = tuple(replace(TOVE, animal=f"animal {n:02}") for n in range(12))
    body = message_of(replace(change(Kind.SEVERAL_COOLING), digesting=many), NAMES).body
    assert "And 8 more digest." in body
    assert body.count("is digesting") == 4
