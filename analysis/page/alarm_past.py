"""Alarms of the last days that are over: from when to when, how far it went, who answered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from analysis.page.alarm_words import by_whom, furthest_words, name_of
from analysis.watch.alarm_store import PastTransition
from analysis.watch.phrases import hours_and_minutes
from analysis.watch.states import AlarmKey, Cause, Priority
from analysis.words import DAY_MS, NOT_KNOWN, local_clock, local_time
from config.settings import Settings

SHOWN_DAYS = 14
MOST_SHOWN = 100


@dataclass(frozen=True, slots=True)
class Episode:
    """One time that an alarm stood, over [raised_ms, ended_ms). None: before what is looked at."""

    key: AlarmKey
    raised_ms: int | None
    ended_ms: int
    priority: Priority
    lowest: float | None
    answered: PastTransition | None = None


@dataclass(frozen=True, slots=True)
class PastTold:
    """The same in words."""

    name: str
    priority: str
    raised: str
    lasted: str
    furthest: str
    answered: str


def past_told(past: Iterable[PastTransition], now_ms: int, settings: Settings) -> list[PastTold]:
    """Those that ended within the last SHOWN_DAYS, the newest first, at most MOST_SHOWN."""
    found = [one for one in episodes(past) if one.ended_ms >= now_ms - SHOWN_DAYS * DAY_MS]
    found.sort(key=lambda one: -one.ended_ms)
    return [_told(one, settings) for one in found[:MOST_SHOWN]]


def episodes(past: Iterable[PastTransition]) -> list[Episode]:
    """Every time that an alarm stood and was over, in the order of their ends.

    An answer that came after its end, and before the alarm was raised anew, is an answer to it.
    """
    raised: dict[AlarmKey, int] = {}
    highest: dict[AlarmKey, Priority] = {}
    answers: dict[AlarmKey, PastTransition] = {}
    last: dict[AlarmKey, int] = {}
    found: list[Episode] = []
    for one in past:
        key = one.key
        if one.cause is Cause.RAISED:
            raised[key], highest[key] = one.at_ms, one.priority
            answers.pop(key, None)
            last.pop(key, None)
        highest[key] = max(one.priority, highest.get(key, one.priority))
        if one.cause is Cause.ACKNOWLEDGED:
            answers[key] = one
            if key in last:
                found[last[key]] = replace(found[last[key]], answered=one)
        if one.before.standing and not one.after.standing:
            last[key] = len(found)
            since_ms, priority = raised.pop(key, None), highest.pop(key)
            answered = answers.pop(key, None)
            found.append(Episode(key, since_ms, one.at_ms, priority, one.lowest, answered))
    return found


def _told(one: Episode, settings: Settings) -> PastTold:
    zone = settings.zone
    raised, lasted = NOT_KNOWN, f"until {local_time(one.ended_ms, zone)}"
    if one.raised_ms is not None:
        raised = local_time(one.raised_ms, zone)
        span = hours_and_minutes(one.ended_ms - one.raised_ms)
        lasted = f"{span}, {lasted}"
    answered = "nobody acknowledged it"
    if one.answered is not None:
        at = local_clock(one.answered.at_ms, zone)
        if one.answered.at_ms - (one.raised_ms or one.ended_ms) >= DAY_MS // 2:
            at = local_time(one.answered.at_ms, zone)
        answered = f"acknowledged {by_whom(one.answered.who)}, {at}"
    return PastTold(
        name_of(one.key, settings),
        one.priority.name.lower(),
        raised,
        lasted,
        furthest_words(one.key, one.lowest, settings),
        answered,
    )
