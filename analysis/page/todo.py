"""What needs doing today: alarms that wait for an answer, questions about meals, meals that are
due. The one place on the page that may be loud, and it says what to do first."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from urllib.parse import urlencode

from analysis.feeding import next_meals_of_book
from analysis.meal_life import Due, MealState, due
from analysis.meal_words import meal_sentence
from analysis.next_words import sentences
from analysis.page.alarm_words import alarm_words
from analysis.page.looking import Looking
from analysis.watch.names import code_of
from analysis.watch.states import Alarm, State
from analysis.words import DAY_MS, plain
from config.settings import Settings

_ASKED_FOR_MS = 60 * DAY_MS
"""What became of a meal is asked for so long on the first screen (our own choice)."""


@dataclass(frozen=True, slots=True)
class Todo:
    """One thing to do: what it is, the words of its link, and where that leads.

    Without a screen for it (`path` is None) it is done on the command line, with `command`.
    """

    words: str
    press: str
    path: str | None
    command: str
    loud: bool = False


def todos(home: Looking, served: frozenset[str]) -> list[Todo]:
    """Everything that needs doing, the most urgent first. `served`: the screens there are."""
    return [
        *_alarms(home.open_alarms(), home.settings, served),
        *_questions(home, served),
        *_meals(home, served),
    ]


def _alarms(alarms: Iterable[Alarm], settings: Settings, served: frozenset[str]) -> Iterator[Todo]:
    """Those that wait for an answer. What follows from another stands under that one."""
    for alarm in alarms:
        waits = alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)
        if not waits or not alarm.speaks:
            continue
        over = "" if alarm.standing else "; it is over"
        yield Todo(
            f"{alarm_words(alarm, settings)}{over}",
            "See and answer",
            f"/alarms#alarm-{code_of(alarm.key)}" if "/alarms" in served else None,
            f"warmcoil acknowledge {code_of(alarm.key)}",
            loud=alarm.standing,
        )


def _questions(home: Looking, served: frozenset[str]) -> Iterator[Todo]:
    found = due(home.book.meals(), home.now_ms, home.care, home.zone, home.book.weighings())
    for one in found:
        if home.now_ms - one.at_ms < _ASKED_FOR_MS:
            yield _question(one, home.settings, served)


def _question(one: Due, settings: Settings, served: frozenset[str]) -> Todo:
    said = f"{meal_sentence(one.meal, settings)}: {one.question}"
    path = None
    if "/write/outcome" in served:
        path = f"/write/outcome?{urlencode({'meal': one.meal.meal})}"
    return Todo(said, "Say it", path, one.answers[0], loud=one.state is MealState.STILL_THERE)


def _meals(home: Looking, served: frozenset[str]) -> Iterator[Todo]:
    found = next_meals_of_book(home.book, home.reader, home.care, home.settings, home.now_ms)
    for one in found:
        if one.due is None or one.due > one.today or not one.today_is_right:
            continue
        path = None
        if "/write/meal" in served:
            path = f"/write/meal?{urlencode({'animal': one.animal})}"
        command = shlex.join(["warmcoil", "meal", one.animal])
        yield Todo(plain(sentences(one, home.settings)[0]), "Enter it", path, command)
