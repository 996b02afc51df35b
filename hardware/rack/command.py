"""One line of text that makes something go wrong in a running rack, or puts it right.

    heater off ENCLOSURE [for MINUTES]      heater stuck ENCLOSURE [for MINUTES]
    heater on ENCLOSURE                     (the thermostat decides again)
    door open ENCLOSURE [for MINUTES]       door close ENCLOSURE
    mist ENCLOSURE [for MINUTES]
    power off [for MINUTES]                 power on
    unplug PROBE [for MINUTES]              plug PROBE
    drop PROBE [for MINUTES]                lift PROBE
    pace FACTOR                             the rack's time runs so many times faster

A PROBE may be given by the end of its name. Minutes are minutes of the rack's own time.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from config.errors import Unusable
from hardware.rack.faults import (
    FOREVER_MS,
    DoorOpen,
    Fallen,
    Fault,
    Heater,
    HeaterFault,
    Misting,
    PowerCut,
    Script,
    Unplugged,
)

MOST_PACE = 600.0
_MOST_MINUTES = 1_000_000
_FOR = re.compile(r"\s+for\s+([0-9]+(?:\.[0-9]+)?)$")
_VERBS = (
    "heater off|on|stuck ENCLOSURE",
    "door open|close ENCLOSURE",
    "mist ENCLOSURE",
    "power off|on",
    "unplug|plug PROBE",
    "drop|lift PROBE",
    "pace FACTOR",
)
_WORDS: dict[type[Fault], str] = {
    DoorOpen: "door open",
    Misting: "misted",
    PowerCut: "no power",
    Unplugged: "unplugged",
    Fallen: "on the floor of the cool side",
}


@dataclass(slots=True)
class Controls:
    """What a line can change: the script, and how fast the rack's time runs."""

    script: Script
    enclosures: tuple[str, ...]
    probes: tuple[str, ...]
    pace: float = 1.0

    def obey(self, line: str, at_ms: int) -> str:
        """Do what the line says, from `at_ms` of the rack's time on; return an answer.

        Raises Unusable, one line, when it says nothing that can be done.
        """
        words, until_ms = _duration(line.strip(), at_ms)
        for start, act in self._acts().items():
            if words == start or words.startswith(start + " "):
                return act(words[len(start) :].strip(), at_ms, until_ms)
        raise Unusable(f"{line.strip()!r} is no command; there are: {', '.join(_VERBS)}")

    def _acts(self) -> dict[str, Callable[[str, int, int], str]]:
        return {
            "heater off": lambda name, a, u: self._heat(Heater.OFF, name, a, u),
            "heater stuck": lambda name, a, u: self._heat(Heater.STUCK_ON, name, a, u),
            "heater on": lambda name, a, _: self._mend(HeaterFault, self._enclosure(name), a),
            "door open": lambda name, a, u: self._add(DoorOpen(self._enclosure(name), a, u)),
            "door close": lambda name, a, _: self._mend(DoorOpen, self._enclosure(name), a),
            "mist": lambda name, a, u: self._add(
                Misting(self._enclosure(name), a, min(u, a + 120_000) if u == FOREVER_MS else u)
            ),
            "power off": lambda _, a, u: self._add(PowerCut(a, u)),
            "power on": lambda _, a, __: self._mend(PowerCut, "", a),
            "unplug": lambda name, a, u: self._add(Unplugged(self._probe(name), a, u)),
            "plug": lambda name, a, _: self._mend(Unplugged, self._probe(name), a),
            "drop": lambda name, a, u: self._add(Fallen(self._probe(name), a, u)),
            "lift": lambda name, a, _: self._mend(Fallen, self._probe(name), a),
            "pace": lambda factor, _, __: self._set_pace(factor),
        }

    def _heat(self, heater: Heater, name: str, at_ms: int, until_ms: int) -> str:
        return self._add(HeaterFault(self._enclosure(name), heater, at_ms, until_ms))

    def _add(self, fault: Fault) -> str:
        self.script.add(fault)
        minutes = (fault.until_ms - fault.from_ms) / 60_000
        lasting = "until it is ended" if fault.until_ms == FOREVER_MS else f"for {minutes:g} min"
        return f"{_said(fault)} {lasting}"

    def _mend(self, kind: type[Fault], name: str, at_ms: int) -> str:
        def _matches(fault: Fault) -> bool:
            of = getattr(fault, "enclosure", getattr(fault, "probe", ""))
            return isinstance(fault, kind) and of == name

        ended = self.script.end(_matches, at_ms)
        what = f"{name}: " if name else ""
        return f"{what}mended" if ended else f"{what}nothing was wrong there"

    def _set_pace(self, factor: str) -> str:
        try:
            pace = float(factor)
        except ValueError:
            raise Unusable(f"{factor!r} is not a number; write for example: pace 60") from None
        if not 0 < pace <= MOST_PACE:
            raise Unusable(f"a pace is more than 0 and at most {MOST_PACE:g}")
        self.pace = pace
        return f"the rack's time runs {pace:g} times as fast"

    def _enclosure(self, name: str) -> str:
        if name in self.enclosures:
            return name
        raise Unusable(f"no enclosure {name!r}; there are: {', '.join(self.enclosures)}")

    def _probe(self, name: str) -> str:
        found = [p for p in self.probes if name and p.endswith(name)]
        if len(found) == 1:
            return found[0]
        which = "more than one probe ends in" if found else "no probe ends in"
        raise Unusable(f"{which} {name!r}; there are: {', '.join(self.probes)}")


def _duration(words: str, at_ms: int) -> tuple[str, int]:
    match = _FOR.search(words)
    if match is None:
        return " ".join(words.split()), FOREVER_MS
    minutes = float(match[1])
    if minutes > _MOST_MINUTES:
        raise Unusable(f"a fault lasts at most {_MOST_MINUTES} minutes, or until it is ended")
    return " ".join(words[: match.start()].split()), at_ms + round(minutes * 60_000)


def _said(fault: Fault) -> str:
    if isinstance(fault, HeaterFault):
        return f"{fault.enclosure}: heater {fault.heater.value}"
    where = getattr(fault, "enclosure", getattr(fault, "probe", "the rack"))
    return f"{where}: {_WORDS[type(fault)]}"
