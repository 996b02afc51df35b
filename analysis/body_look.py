"""What one look at an animal says: thin, ordinary or heavy, by what was seen and felt. Pure, light.

Thin: spine sharp, ribs seen, skin in folds. Heavy: spine or ribs buried, tail thick, bulges before
the vent, no step from head to neck. All of it is common practice, without a source. More parts one
way than the other decide; as many of both decide nothing. "Ordinary" needs a part that would have
shown either.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from analysis.window import DAY_MS
from collector.book.records import Look, Neck, Ribs, Skin, Spine, Tail, Vent
from config.care import CareProfile

State = Literal["thin", "ordinary", "heavy", "not known"]

BASIS = "common practice"

_Part = tuple[type[StrEnum], StrEnum]

# Keyed by part and value: a word such as "buried" is the same for spine and ribs.
_THIN: dict[_Part, str] = {
    (Spine, Spine.SHARP): "spine sharp",
    (Ribs, Ribs.SEEN): "ribs seen",
    (Skin, Skin.FOLDED): "skin in folds",
}
_HEAVY: dict[_Part, str] = {
    (Spine, Spine.BURIED): "spine buried",
    (Ribs, Ribs.BURIED): "ribs buried",
    (Tail, Tail.THICK): "tail thick",
    (Vent, Vent.BULGING): "bulges before the vent",
    (Neck, Neck.LEVEL): "no step from head to neck",
}
_NEITHER: dict[_Part, str] = {
    (Spine, Spine.FELT): "spine felt",
    (Ribs, Ribs.FELT): "ribs felt, not seen",
    (Skin, Skin.SMOOTH): "skin smooth",
    (Tail, Tail.TAPERING): "tail tapering",
    (Vent, Vent.FLAT): "flat before the vent",
    (Neck, Neck.STEPPED): "neck stepped off",
}


@dataclass(frozen=True, slots=True)
class LookScore:
    """A look scored. `because` are the parts that say so; for "not known" what speaks each way.

    `fresh` is False for a look older than the care profile lets count.
    """

    at_ms: int
    days_ago: float
    fresh: bool
    state: State
    because: tuple[str, ...]
    basis: str = BASIS


def score(look: Look) -> tuple[State, tuple[str, ...]]:
    """What a look says, and the parts that say so."""
    parts = _parts(look)
    thin = [_THIN[part] for part in parts if part in _THIN]
    heavy = [_HEAVY[part] for part in parts if part in _HEAVY]
    if len(thin) > len(heavy):
        return "thin", tuple(thin)
    if len(heavy) > len(thin):
        return "heavy", tuple(heavy)
    if thin:
        return "not known", tuple(thin + heavy)
    says = tuple(_NEITHER[part] for part in parts)
    shows_thin = look.spine is not None or look.ribs is not None or look.skin is not None
    shows_heavy = any(
        part is not None for part in (look.spine, look.ribs, look.tail, look.vent, look.neck)
    )
    return ("ordinary" if shows_thin and shows_heavy else "not known"), says


def newest_look(looks: Sequence[Look], care: CareProfile, now_ms: int) -> LookScore | None:
    """One animal's newest look at a moment, scored; None where it was never looked at."""
    past = [one for one in looks if one.at_ms <= now_ms]
    newest = max(past, key=lambda one: one.at_ms, default=None)
    if newest is None:
        return None
    days = (now_ms - newest.at_ms) / DAY_MS
    return LookScore(newest.at_ms, days, days <= care.condition.look_days.value, *score(newest))


def _parts(look: Look) -> list[_Part]:
    parts = (look.spine, look.ribs, look.skin, look.tail, look.vent, look.neck)
    return [(type(part), part) for part in parts if part is not None]
