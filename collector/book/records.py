"""The records of the book: frozen, in SI-derived units with the unit in the name, times in UTC ms.

None means unknown, never zero. Intervals are [since, until).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Zone(StrEnum):
    """Where in an enclosure a probe lies."""

    WARM_SIDE = "warm side"
    COOL_SIDE = "cool side"
    HOT_SPOT = "hot spot"
    HIDE = "hide"
    ROOM = "room"


class PreyState(StrEnum):
    """How the prey came."""

    THAWED = "thawed"
    FRESH = "fresh"
    LIVE = "live"


class FedIn(StrEnum):
    """Where the animal was fed."""

    ENCLOSURE = "enclosure"
    BOX = "box"


class Outcome(StrEnum):
    """What became of a meal."""

    KEPT = "kept"
    PASSED = "passed"
    REGURGITATED = "regurgitated"
    VOMITED = "vomited"
    REFUSED = "refused"

    @property
    def came_back(self) -> bool:
        """True when the meal came back up."""
        return self in (Outcome.REGURGITATED, Outcome.VOMITED)


class Signs(StrEnum):
    """What was seen with a meal that came back, or with droppings."""

    NONE = "none"
    MUCUS = "mucus"
    BLOOD = "blood"
    BOTH = "mucus and blood"


class ShedStage(StrEnum):
    """In shed: eyes and skin dull. Shed: the old skin was found."""

    IN_SHED = "in shed"
    SHED = "shed"


class Urate(StrEnum):
    """The white part of droppings, there or not."""

    WHITE = "white"
    MISSING = "missing"


class Spine(StrEnum):
    """The ridge of the back under a fingertip."""

    SHARP = "sharp"
    FELT = "felt"
    BURIED = "buried"


class Ribs(StrEnum):
    """The ribs along the side."""

    SEEN = "seen"
    FELT = "felt"
    BURIED = "buried"


class Skin(StrEnum):
    """The skin along the side at rest."""

    FOLDED = "folded"
    SMOOTH = "smooth"


class Tail(StrEnum):
    """The tail behind the vent."""

    TAPERING = "tapering"
    THICK = "thick"


class Vent(StrEnum):
    """The sides of the body just before the vent."""

    FLAT = "flat"
    BULGING = "bulging"


class Neck(StrEnum):
    """The step from the head to the neck."""

    STEPPED = "stepped"
    LEVEL = "level"


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A tub or vivarium."""

    enclosure: str
    room: str | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Animal:
    """An animal. `born` is a day, where known."""

    animal: str
    species: str | None = None
    sex: str | None = None
    born: date | None = None


@dataclass(frozen=True, slots=True)
class Stay:
    """An animal in an enclosure, from `since_ms` until its next stay begins (None: still there)."""

    animal: str
    enclosure: str
    since_ms: int
    until_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Placement:
    """A probe in a zone of an enclosure, over [since_ms, until_ms).

    `until_ms` as the book hands it out already takes the probe's next placement into account.
    """

    probe: str
    enclosure: str
    zone: Zone
    since_ms: int
    until_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Meal:
    """One offer of prey, and what became of it.

    `prey_mass_g`, `prey_width_mm` and `prey_surface_c` are of one prey item; the meal's mass is
    `prey_count` times the item's.
    """

    meal: int
    animal: str
    offered_at_ms: int | None = None
    taken_at_ms: int | None = None
    removed_at_ms: int | None = None
    prey: str | None = None
    prey_count: int | None = None
    prey_mass_g: float | None = None
    prey_width_mm: float | None = None
    prey_surface_c: float | None = None
    prey_state: PreyState | None = None
    fed_in: FedIn | None = None
    outcome: Outcome | None = None
    outcome_at_ms: int | None = None
    notes: str | None = None
    signs: Signs | None = None

    @property
    def mass_g(self) -> float | None:
        """Mass of the whole meal in g; an unknown count is one item."""
        if self.prey_mass_g is None:
            return None
        return self.prey_mass_g * (self.prey_count if self.prey_count is not None else 1)


@dataclass(frozen=True, slots=True)
class Weighing:
    """One weighing, with length and mid-body width where they were taken."""

    animal: str
    at_ms: int
    mass_g: float | None = None
    length_cm: float | None = None
    midbody_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Handling:
    """One time the animal was handled."""

    animal: str
    at_ms: int
    minutes: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Shed:
    """One look at a shed: found to be in shed, or the old skin found."""

    animal: str
    at_ms: int
    notes: str | None = None
    stage: ShedStage = ShedStage.SHED


@dataclass(frozen=True, slots=True)
class Look:
    """One look at an animal's body condition: what was seen and felt."""

    animal: str
    at_ms: int
    spine: Spine | None = None
    ribs: Ribs | None = None
    skin: Skin | None = None
    tail: Tail | None = None
    vent: Vent | None = None
    neck: Neck | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Dropping:
    """Droppings found, and what they looked like."""

    animal: str
    at_ms: int
    urate: Urate | None = None
    signs: Signs | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A probe's temperature held against a reference, at one point or two.

    `read_c` is what the probe itself said, uncorrected, and `true_c` what was true; what the
    probe reads from then on is corrected by it. Uncertainties are expanded, k = 2, in °C. The
    second point has all three or none of its parts.
    """

    probe: str
    at_ms: int
    read_c: float
    true_c: float
    uncertainty_c: float
    second_read_c: float | None = None
    second_true_c: float | None = None
    second_uncertainty_c: float | None = None
    notes: str | None = None


Record = (
    Enclosure
    | Animal
    | Stay
    | Placement
    | Meal
    | Weighing
    | Handling
    | Shed
    | Look
    | Dropping
    | Calibrated
)
"""Anything the book holds."""
