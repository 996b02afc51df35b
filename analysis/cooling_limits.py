"""When a fall of the warm side is good enough to be spoken of. All of it our own choice.

Chosen on simulated enclosures: thermostats that switch, doors, cold rooms, probes that slip. Light.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Silence(StrEnum):
    """Why nothing is said of a fall."""

    NOT_FALLING = "the warm side is not falling"
    USUAL = "it is within what is usual there"
    SHORT = "it has not fallen for long enough"
    BELOW = "it is below the floor already"
    UNDETERMINED = "the readings do not determine a time constant"
    TOO_LITTLE = "too little of the time constant has been seen"
    UNLIKE = "it falls otherwise than this enclosure does without heat"
    TOO_FAST = "it falls faster than a closed enclosure does"
    TOO_SLOW = "it falls more slowly than an enclosure without heat does"
    ELSEWHERE = "it falls towards something else than the room"
    NOISY = "it does not follow a cooling curve"
    CURVED = "it bends away from a cooling curve"
    HEAT_IS_BACK = "its newest readings lie above the curve"
    NEVER = "it does not reach the floor"
    TOO_WIDE = "the time is too uncertain"
    FAR = "it reaches the floor too far ahead"


@dataclass(frozen=True, slots=True)
class Limits:
    """What a fall is held against.

    `noise_c` is the standard deviation of a reading, with its steps; `room_sd_c` how far the air
    that the enclosure falls towards may lie from what the room probe says (two probes, neighbours'
    heat); `room_drift_k_h` how far the room may move in each hour to come.
    """

    noise_c: float = 0.1
    room_sd_c: float = 0.3
    room_drift_k_h: float = 0.15
    curve_ln_sd: float = 0.04
    """No enclosure is quite one store of heat: so far may the curve itself be out, as a part of
    the time to the floor."""
    pass_sd_c: float = 0.06
    """A reading passes the floor a step of the probe sooner or later than the air does."""
    gap_ms: int = 15 * 60_000
    block_ms: int = 2 * 60_000
    """Falls are looked for in means over this long: a single odd reading neither begins nor ends
    one."""
    from_top_k: float = 0.5
    """A fall is fitted from where it is this far under its top: the heater has cooled, and the
    probe has followed."""
    under_usual_k: float = 0.3
    """Under the usual low by this much, before a fall is more than a thermostat's switching."""
    under_ms: int = 4 * 60_000
    """... and for so long: an opened door at the end of a switching is no failure."""
    least_unknown_k: float = 2.5
    """How far it has to have fallen where the usual low is not known."""
    least_history_ms: int = 2 * 3_600_000
    least_hours: float = 10 / 60
    most_hours: float = 12.0
    least_points: int = 6
    most_points: int = 80
    """Longer falls are thinned to this many means: one forecast costs a few milliseconds."""
    least_tau_h: float = 0.5
    most_tau_h: float = 6.0
    most_ln_tau_se: float = 0.3
    least_share_of_tau: float = 0.4
    """How much of the time constant must have been seen where the room is not known."""
    most_ln_time_se: float = 0.35
    """Wider than this, an interval of 90 % reaches beyond half and double."""
    horizon_h: float = 12.0


DEFAULT = Limits()
