"""The short code by which a keeper names an alarm: the same alarm always has the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from analysis.watch.states import Alarm, AlarmKey
from config.errors import NotSo

_BYTES = 3


def code_of(key: AlarmKey) -> str:
    """Six hex digits. Two of a hundred alarms share one with probability 0.0003."""
    said = "\0".join((key.kind, key.enclosure, key.probe or ""))
    return hashlib.blake2b(said.encode(), digest_size=_BYTES).hexdigest()


def alarm_of(code: str, alarms: Iterable[Alarm]) -> Alarm:
    """The alarm of a code, or of the beginning of one. Raises NotSo when none or several fit."""
    found = [one for one in alarms if code_of(one.key).startswith(code.lower())]
    if len(found) == 1 and code:
        return found[0]
    why = "no alarm" if not found else f"{len(found)} alarms"
    raise NotSo(f"{why} of code {code!r}; see: warmcoil alarms")
