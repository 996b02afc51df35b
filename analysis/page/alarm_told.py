"""Alarms as the page tells them: what, since when, how bad, who digests there, what to do first.

The sentences are those of the messages. Of an alarm that stands they are made anew, with what is
read now; of one that is over, or that names others, they are as they were told.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from analysis.page.alarm_words import alarm_words, by_whom, name_of, state_words
from analysis.page.looking import Looking
from analysis.watch.alarm_store import AlarmStore, PastTransition, Told
from analysis.watch.gather_heard import LastHeard
from analysis.watch.names import code_of
from analysis.watch.outbox import Urgency
from analysis.watch.phrases import WATCHES_ONLY, LastWord, Names, digesting_lines
from analysis.watch.requests import Action, Request
from analysis.watch.roster import digesting_by_enclosure, placed
from analysis.watch.rule_figures import rules_of
from analysis.watch.rules_run import standing_words
from analysis.watch.states import (
    HOUR_MS,
    Alarm,
    AlarmKey,
    Cause,
    Digesting,
    Kind,
    State,
    Transition,
)
from analysis.watch.texts import message_of
from analysis.words import DAY_MS, hours, local_time, plain, temperature
from collector.book.records import Placement, Zone
from collector.readings import Quantity, SeriesKey

_ZONES = {
    Kind.WARM_SIDE_LOW: Zone.WARM_SIDE,
    Kind.TOO_HOT: Zone.WARM_SIDE,
    Kind.COOL_SIDE_WARM: Zone.COOL_SIDE,
}
_NAMES_OTHERS = frozenset({Kind.SEVERAL_COOLING, Kind.SEVERAL_SILENT, Kind.FLOOD})
_LOOKED_BACK_MS = 60 * DAY_MS
_FIRST = "First: "
_MESSAGE = "Message "


@dataclass(frozen=True, slots=True)
class AlarmTold:
    """One alarm, told. `seen` marks how it stood: a form that is sent back brings it along."""

    code: str
    alarm: Alarm
    name: str
    title: str
    sentences: tuple[str, ...]
    animals: tuple[str, ...]
    first: str | None
    state: str
    answered: str
    """Who brought it there: "by Ana, Tue 3 Mar 2026, 21:40"; empty where nobody did."""
    asked: tuple[Request, ...] = ()
    under: tuple[AlarmTold, ...] = ()

    @property
    def seen(self) -> str:
        """Changes with every change of the alarm."""
        return str(self.alarm.changed_ms or "")

    def may(self, action: str) -> bool:
        """True where the action would change something, and does not wait for the watch yet."""
        waits = any(one.action == action for one in self.asked)
        return not waits and Action(action) in possible(self.alarm)


def possible(alarm: Alarm) -> frozenset[Action]:
    """What may be asked of an alarm as it stands."""
    if alarm.out_of_service:
        return frozenset({Action.IN_SERVICE})
    found = {Action.UNSHELVE} if alarm.shelved_until_ms is not None else {Action.SHELVE}
    found.add(Action.OUT_OF_SERVICE)
    if alarm.state in (State.UNACKNOWLEDGED, State.RETURNED):
        found.add(Action.ACKNOWLEDGE)
    return frozenset(found)


class Teller:
    """Tells the alarms of a home at one moment."""

    def __init__(self, home: Looking) -> None:
        self._home = home
        self.alarms: dict[AlarmKey, Alarm] = {}
        self.past: list[PastTransition] = []
        self._requests: list[Request] = []
        self._messages: dict[AlarmKey, Told] = {}
        if home.home.alarms.exists():
            with AlarmStore(home.home.alarms) as store:
                self._read(store)

    def _read(self, store: AlarmStore) -> None:
        self.alarms = store.alarms()
        self.past = store.transitions(self._home.now_ms - _LOOKED_BACK_MS)
        self._requests = store.requests()
        for key, alarm in self.alarms.items():
            if alarm.shown_state != "normal":
                told = store.newest_message(key)
                if told is not None:
                    self._messages[key] = told

    def open(self) -> list[AlarmTold]:
        """All that stand or wait for an answer, the most urgent first; what follows from one of
        them stands under it."""
        found = [one for one in self.alarms.values() if one.shown_state != "normal"]
        found.sort(key=lambda one: (-one.priority, one.raised_ms or 0))
        tops = {one.key for one in found if one.under is None}
        followers = [one for one in found if one.under in tops]
        return [
            replace(self.told(one), under=self._under(one, followers))
            for one in found
            if one not in followers
        ]

    def _under(self, alarm: Alarm, followers: Iterable[Alarm]) -> tuple[AlarmTold, ...]:
        return tuple(self.told(one) for one in followers if one.under == alarm.key)

    def told(self, alarm: Alarm) -> AlarmTold:
        """One alarm, without what follows from it."""
        title, lines, animals = self._text(alarm)
        first = next((line for line in lines if line.startswith(_FIRST)), None)
        return AlarmTold(
            code_of(alarm.key),
            alarm,
            name_of(alarm.key, self._home.settings),
            title,
            tuple(line for line in lines if line not in (first, WATCHES_ONLY)),
            animals,
            first,
            state_words(alarm, self._home.settings),
            self._answered(alarm),
            tuple(one for one in self._requests if one.key == alarm.key),
        )

    # ---- its text -----------------------------------------------------------------------------

    def _text(self, alarm: Alarm) -> tuple[str, list[str], tuple[str, ...]]:
        """Title, lines, and a line for each animal that digests there now."""
        name, message = name_of(alarm.key, self._home.settings), self._messages.get(alarm.key)
        if alarm.out_of_service:
            return name, ["It is not judged until it is put in service again."], ()
        if not alarm.standing:
            if message is not None and message.urgency is Urgency.ALL_CLEAR:
                return message.title, _lines(message.body), ()
            title = alarm_words(alarm, self._home.settings)
            return title, ["It does not stand any more."], ()
        calls = message is not None and message.urgency in ("high", "medium", "low")
        if message is not None and calls and alarm.key.kind in _NAMES_OTHERS:
            return message.title, _lines(message.body), ()
        return self._anew(alarm)

    def _anew(self, alarm: Alarm) -> tuple[str, list[str], tuple[str, ...]]:
        read = self._read_now(alarm)
        beyond = read is not None and _is_beyond(alarm, read[1])
        at_ms, value = read if read is not None and beyond else (alarm.raised_ms, alarm.value)
        at_ms = self._home.now_ms if at_ms is None else at_ms
        digesting = self._digesting_at(alarm.key.enclosure)
        change = Transition(
            Cause.RAISED, at_ms, State.NORMAL, alarm, value,
            digesting=digesting, names=self._named_by(alarm.key),
        )  # fmt: skip
        message = message_of(change, self._names)
        said_then = digesting_lines(change)  # with the hours until then; told as of now instead
        lines = [line for line in _lines(message.body) if line not in said_then]
        if read is not None and not beyond:
            reads = temperature(read[1], self._home.settings)
            lines.insert(1, f"It reads {reads} now; the alarm ends when that has lasted.")
        return message.title, lines, tuple(self._animal(one) for one in digesting)

    def _animal(self, one: Digesting) -> str:
        since_h = hours((self._home.now_ms - one.taken_ms) / HOUR_MS)
        return f"{plain(one.animal)} is digesting {one.prey}: {since_h} since its meal."

    def _named_by(self, key: AlarmKey) -> tuple[str, ...]:
        if key.kind is Kind.FLOOD:
            return standing_words(self.alarms.values())
        under = (one for one in self.alarms.values() if one.standing and one.under == key)
        return tuple(sorted({one.key.enclosure for one in under}))

    def _answered(self, alarm: Alarm) -> str:
        """Who brought it to where it stands, and when."""
        causes = {"acknowledged": Cause.ACKNOWLEDGED, "shelved": Cause.SHELVED,
                  "out of service": Cause.OUT_OF_SERVICE}  # fmt: skip
        cause = causes.get(alarm.shown_state)
        for one in reversed(self.past):
            if one.key == alarm.key and one.cause is cause:
                at = local_time(one.at_ms, self._home.zone)
                return f"{by_whom(one.who)}, {at}" if one.who else at
        return ""

    # ---- what is known of the home --------------------------------------------------------------

    @cached_property
    def _placements(self) -> list[Placement]:
        return [one for one in self._home.book.placements() if placed(one, self._home.now_ms)]

    @cached_property
    def _digesting(self) -> dict[str, tuple[Digesting, ...]]:
        book, home = self._home.book, self._home
        return digesting_by_enclosure(
            book.meals(), book.weighings(), book.stays(),
            care=home.care, settings=home.settings, now_ms=home.now_ms,
        )  # fmt: skip

    def _digesting_at(self, enclosure: str) -> tuple[Digesting, ...]:
        there = self._digesting.get(enclosure, ())
        return tuple(one for one in there if one.at(self._home.now_ms))

    @cached_property
    def _names(self) -> Names:
        home = self._home
        latest, rules = home.reader.latest(), rules_of(home.care, home.settings)
        heard = LastHeard(home.reader, rules.silence_ms)
        probes = {one.key.probe for one in self.alarms.values() if one.standing}
        words: dict[str, LastWord] = {
            one.probe: heard.last_word(one.probe, latest, home.now_ms)
            for one in self._placements
            if one.probe in probes
        }
        rooms = {one.enclosure: one.room for one in home.book.enclosures() if one.room}
        zones = {one.probe: one.zone.value for one in self._placements}
        return Names(home.settings, rooms, zones, words)

    def _read_now(self, alarm: Alarm) -> tuple[int, float] | None:
        """When, and how warm, the alarm's zone was last read; None where that is not fresh."""
        zone = _ZONES.get(alarm.key.kind)
        home, latest = self._home, self._home.reader.latest()
        gap_ms = home.settings.review.gap_minutes * 60_000
        there = [
            p for p in self._placements if (p.enclosure, p.zone) == (alarm.key.enclosure, zone)
        ]
        found = [latest.get(SeriesKey(one.probe, Quantity.TEMPERATURE)) for one in there]
        fresh = [
            one for one in found
            if one is not None and one.usable and 0 <= home.now_ms - one.at_ms <= gap_ms
        ]  # fmt: skip
        if not fresh:
            return None
        return max(one.at_ms for one in fresh), sum(one.value for one in fresh) / len(fresh)


def _lines(body: str) -> list[str]:
    return [line for line in body.split("\n") if not line.startswith(_MESSAGE)]


def _is_beyond(alarm: Alarm, value_c: float) -> bool:
    """True while what is read is what the alarm says; also for one that is only foretold."""
    if alarm.setpoint is None or alarm.foretold_ms is not None:
        return True
    low = alarm.key.kind is Kind.WARM_SIDE_LOW
    return value_c < alarm.setpoint if low else value_c > alarm.setpoint
