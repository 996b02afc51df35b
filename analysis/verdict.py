"""The verdict on a meal: what holds however the gaps are filled. Pure.

A limit is *met* when the known part of the warm side alone reaches it, and *possible* when the
known part would with every gap taken as cold. (A limit above a level has no such form: what could
have been too hot in a gap is not held against it.) The verdict is the worst limit met; with none
met it is "not enough readings" where one is possible, else "warm enough".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.exposure import HOUR_MS, Line, Spell
from analysis.window import Window
from config.care import CareProfile, Limit

Verdict = Literal[
    "warm enough", "cool", "too cool", "too hot", "not enough readings", "no warm-side probe"
]

NO_PROBE: Verdict = "no warm-side probe"
"""When no temperature probe was placed on the warm side at any time: nothing to judge."""

WORST_LAST: tuple[Verdict, ...] = ("warm enough", "cool", "too cool", "too hot")

_ROUNDING_HOURS = 1e-9
"""A limit of 6 h is met by a spell of 6 h also where its crossings were rounded."""


@dataclass(frozen=True, slots=True)
class Held:
    """What the warm side came to against one limit, in h; `spell` is the longest one known,
    None where the limit is on a total, or where there is none.

    `if_gaps_cold` and `spell_if_gaps_cold` take every gap as cold; for a limit above a level they
    are the known figures.
    """

    limit: Limit
    hours: float
    if_gaps_cold: float
    spell: Spell | None
    spell_if_gaps_cold: Spell | None

    @property
    def met(self) -> bool:
        """True when the known part alone reaches the limit."""
        return self.hours >= self.limit.hours - _ROUNDING_HOURS

    @property
    def possible(self) -> bool:
        """True when the limit would be reached if it was cold in the gaps."""
        return self.if_gaps_cold >= self.limit.hours - _ROUNDING_HOURS


def held_against(line: Line, window: Window, care: CareProfile) -> tuple[Held, ...]:
    """The warm side's line over its window against every limit of the profile, in its order."""
    return tuple(_held(line, window, limit) for limit in care.limits)


def verdict_of(held: Sequence[Held]) -> tuple[Verdict, Verdict]:
    """The verdict, and the worst that the gaps could hide (the verdict itself if nothing worse)."""
    met = _worst(one.limit.verdict for one in held if one.met)
    worst = _worst(one.limit.verdict for one in held if one.met or one.possible)
    if met == "warm enough" and worst != met:
        return "not enough readings", worst
    return met, worst


def _worst(verdicts: Iterable[Verdict]) -> Verdict:
    return max(verdicts, key=WORST_LAST.index, default="warm enough")


def _held(line: Line, window: Window, limit: Limit) -> Held:
    end_ms = float(window.end_ms)
    if limit.within_hours is not None:
        end_ms = min(end_ms, window.start_ms + limit.within_hours * HOUR_MS)
    part = line.cut(window.start_ms, end_ms)
    if limit.side == "above":
        hours, spell = _figure(part.upside_down(), -limit.level_c, limit)
        return Held(limit, hours, hours, spell, spell)
    hours, spell = _figure(part, limit.level_c, limit)
    cold, cold_spell = _figure(part.gaps_cold(window.start_ms, end_ms), limit.level_c, limit)
    return Held(limit, hours, cold, spell, cold_spell)


def _figure(line: Line, level_c: float, limit: Limit) -> tuple[float, Spell | None]:
    if limit.of == "total":
        return line.hours_below(level_c), None
    spell = line.longest_spell_below(level_c)
    return (spell.hours if spell is not None else 0.0), spell
