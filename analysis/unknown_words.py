"""Why a factor of a meal is not known, and how to know it next time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.different import Different
from analysis.factor_words import telling
from analysis.factors import FEWEST, Factor
from analysis.measured import COMING_BACK, HUMIDITY
from analysis.measured_keeping import SHED, SINCE, SINCE_BACK
from analysis.measured_prey import CONTRAST, FED_IN, SHARE, STATE, WARM_SIDE, WIDTH
from analysis.window import DAY_MS
from analysis.words import local_day, plain, whole_hours
from collector.book.records import FedIn

_KEEP_RUNNING = "see that probe and collector keep running (warmcoil probes)"


@dataclass(frozen=True, slots=True)
class NotKnown:
    """What is missing, and what would tell it next time; None where only time can."""

    why: str
    next_time: str | None


def not_known(factor: Factor, of: Different) -> NotKnown:
    """Why this factor is unknown, and how to know it next time."""
    reason = _REASONS.get(factor.factor)
    found = reason(factor, of) if reason is not None else None
    if found is not None:
        return found
    if factor.factor not in _REASONS:
        return _of_warm_side(factor, of)
    return _too_few(factor, of)


def _too_few(factor: Factor, of: Different) -> NotKnown:
    """It is known, but there is no rule, and too little to set it beside."""
    n = factor.among.n if factor.among is not None else 0
    value, who = telling(factor, of).value, plain(of.review.animal)
    have = f"{n} so far" if n else "none so far"
    beside = f"it takes {FEWEST} other meals that {who} kept down to set it beside ({have})"
    return NotKnown(f"{value}, but {beside}", None)


def _of_warm_side(factor: Factor, of: Different) -> NotKnown:
    if of.review.warm_side is None:
        return NotKnown("no probe lay on the warm side", "place one there")
    missing_h = of.review.window.hours - of.review.coverage.known_hours
    if of.review.coverage.known_hours <= 0:
        return NotKnown("there is no reading of the warm side", "see warmcoil probes")
    if missing_h * 60 < 1:
        return _too_few(factor, of)
    return NotKnown(
        f"readings are missing for {whole_hours(missing_h)}, and could hide a broken rule",
        _KEEP_RUNNING,
    )


def _share(_factor: Factor, of: Different) -> NotKnown | None:
    if of.gathered.meal.mass_g is None:
        return NotKnown(
            "prey mass was not entered", "weigh the prey, or enter the mass it is sold by"
        )
    return NotKnown(
        f"{plain(of.review.animal)} was not weighed within 90 days before it, nor 30 after",
        "weigh it once a month, empty (warmcoil weigh)",
    )


def _width(_factor: Factor, of: Different) -> NotKnown | None:
    if of.gathered.meal.prey_width_mm is None:
        return NotKnown("prey width was not entered", "measure the prey at its widest")
    return NotKnown(
        f"{plain(of.review.animal)} was not measured at mid-body within 90 days before it",
        "measure it at mid-body when it is weighed",
    )


def _contrast(factor: Factor, of: Different) -> NotKnown | None:
    meal = of.gathered.meal
    if meal.prey_surface_c is None:
        return NotKnown(
            "the prey's surface was not read",
            "read it with an infrared thermometer set to 0.95 as the prey is offered",
        )
    if meal.fed_in is FedIn.BOX:
        return NotKnown("how warm the box was that it was fed in, nobody read", "offer it at home")
    if factor.basis.endswith(WARM_SIDE):
        return NotKnown(
            f"{telling(factor, of).value}; the cool side was not read", "place a probe there"
        )
    return NotKnown("the enclosure was not read as it was taken", "see warmcoil probes")


def _state(factor: Factor, _of: Different) -> NotKnown | None:
    if factor.value is not None:
        return None
    return NotKnown("how the prey came was not entered", "enter thawed, fresh or live")


def _fed_in(factor: Factor, _of: Different) -> NotKnown | None:
    if factor.value is not None:
        return None
    return NotKnown("where it was fed was not entered", "enter enclosure or box")


def _since(factor: Factor, of: Different) -> NotKnown | None:
    if factor.value is None:
        return NotKnown("no meal before it is in the book", None)
    who = plain(of.review.animal)
    return NotKnown(
        f"{telling(factor, of).value}; whether that is too soon goes by age",
        f"enter when {who} was born",
    )


def _since_back(_factor: Factor, _of: Different) -> NotKnown | None:
    return NotKnown(
        "when the meal before came back was not entered", "enter when it was found (warmcoil meal)"
    )


def _shed(factor: Factor, of: Different) -> NotKnown | None:
    who = plain(of.review.animal)
    if not of.gathered.sheds:
        return NotKnown(f"no shed of {who} is in the book", "enter each one (warmcoil shed)")
    until_ms = of.review.taken_at_ms + round((factor.limit or 0.0) * DAY_MS)
    day = local_day(until_ms, of.settings.zone)
    return NotKnown(f"a skin may still come off until {day}", None)


def _humidity(factor: Factor, of: Different) -> NotKnown | None:
    if of.review.humidity is None:
        return NotKnown("no humidity probe was there", "place one")
    if factor.value is None:
        return NotKnown("the humidity probe was not heard", "see warmcoil probes")
    return NotKnown(
        f"{telling(factor, of).value}, and the rest was not read",
        _KEEP_RUNNING,
    )


def _coming_back(factor: Factor, of: Different) -> NotKnown | None:
    if factor.value is None:
        return NotKnown("when it came back was not entered", "enter when it was found")
    return NotKnown(
        f"{telling(factor, of).value}; whether that is for a vet goes by the warm side, which is "
        "not known well enough",
        None,
    )


_REASONS: Mapping[str, Callable[[Factor, Different], NotKnown | None]] = {
    SHARE: _share,
    WIDTH: _width,
    CONTRAST: _contrast,
    STATE: _state,
    FED_IN: _fed_in,
    SINCE: _since,
    SINCE_BACK: _since_back,
    SHED: _shed,
    HUMIDITY: _humidity,
    COMING_BACK: _coming_back,
}
