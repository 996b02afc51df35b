"""What is asked of an alarm here, and what became of it. The watch alone carries it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from analysis.page.alarm_words import name_of, state_words
from analysis.watch.requests import Action, Asked, Request
from analysis.watch.states import HOUR_MS, MINUTE_MS, Alarm, AlarmKey
from analysis.words import DAY_MS, age, local_clock, local_time
from config.errors import Unusable
from config.settings import Settings

MORNING = time(8, 0)
"""Where no quiet hours say when the morning begins (our own choice)."""
LONGEST_SHELVED_MS = 30 * DAY_MS
_SPANS = {"1h": ("for an hour", HOUR_MS), "4h": ("for 4 hours", 4 * HOUR_MS),
          "1d": ("for a day", DAY_MS), "3d": ("for 3 days", 3 * DAY_MS),
          "7d": ("for a week", 7 * DAY_MS)}  # fmt: skip
_MUCH_TOO_LONG_MS = MINUTE_MS


@dataclass(frozen=True, slots=True)
class Notice:
    """What the page says of a request. `waits`: the watch has not carried it out yet."""

    text: str
    waits: bool = False


# ---- ends of a shelving ---------------------------------------------------------------------


def ends(now_ms: int, settings: Settings) -> list[tuple[str, str]]:
    """The ends that may be chosen for a shelving, as (value, words)."""
    morning_ms = morning_after(now_ms, settings)
    at = local_time(morning_ms, settings.zone)
    found = [(value, words) for value, (words, _) in _SPANS.items()]
    return [*found[:2], (f"at {morning_ms}", f"till morning, {at}"), *found[2:]]


def morning_after(now_ms: int, settings: Settings) -> int:
    """The next morning, in UTC ms: the end of the quiet hours, or eight o'clock at home."""
    clock, zone = settings.watch.quiet_to or MORNING, settings.zone
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone).date()
    mornings = (datetime.combine(today + timedelta(days=n), clock, zone) for n in range(3))
    return next(at for one in mornings if (at := round(one.timestamp() * 1000)) > now_ms)


def end_of(value: str, now_ms: int) -> int:
    """The end that was chosen, in UTC ms. Raises Unusable."""
    if value in _SPANS:
        return now_ms + _SPANS[value][1]
    word, _, number = value.partition(" ")
    if word != "at" or not number.isascii() or not number.isdigit() or len(number) > 15:
        raise Unusable("choose until when it is to be shelved; nothing was asked")
    until_ms = int(number)
    if not now_ms < until_ms <= now_ms + LONGEST_SHELVED_MS:
        raise Unusable("that end of a shelving is past by now; choose another. Nothing was asked")
    return until_ms


# ---- what became of it ----------------------------------------------------------------------


def notice_of(
    asked: Asked, alarms: Mapping[AlarmKey, Alarm], now_ms: int, settings: Settings
) -> Notice:
    """A request, in words: asked, carried out, or without effect."""
    request, zone = asked.request, settings.zone
    name = name_of(request.key, settings)
    if asked.settled_ms is None:
        return Notice(f"{name}: {waiting_words(request, now_ms, settings)}", waits=True)
    alarm = alarms.get(request.key) or Alarm(request.key)
    at, state = local_clock(asked.settled_ms, zone), state_words(alarm, settings)
    if not asked.changed:
        return Notice(
            f"{name}: the watch looked at it at {at}, and there was nothing to {_doing(request)} "
            f"any more. It is {state}."
        )
    return Notice(f"Done by the watch at {at}. {name}: {state}.")


def waiting_words(request: Request, now_ms: int, settings: Settings) -> str:
    """ "asked at 21:40 to acknowledge. The watch will carry it out at its next look; …" """
    zone, every_s = settings.zone, settings.watch.every_seconds
    text = f"asked at {local_clock(request.at_ms, zone)} to {_doing(request)}"
    if request.until_ms is not None:
        text += f" until {local_time(request.until_ms, zone)}"
    late_ms = now_ms - request.at_ms
    if late_ms > max(_MUCH_TOO_LONG_MS, 3000 * every_s):
        return f"{text}, {age(late_ms / 1000)}. The watch has not carried it out: see that it runs."
    return f"{text}. The watch will carry it out at its next look; it looks every {every_s:g} s."


def _doing(request: Request) -> str:
    return {
        Action.ACKNOWLEDGE: "acknowledge",
        Action.SHELVE: "shelve",
        Action.UNSHELVE: "unshelve",
        Action.OUT_OF_SERVICE: "take out of service",
        Action.IN_SERVICE: "put in service",
    }[request.action]
