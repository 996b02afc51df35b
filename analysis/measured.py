"""The factors of a meal as figures, each held against its rule of the care profile.

What is missing is never taken for good: a rule counts as kept only where the missing readings could
not hide that it was broken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.gathering import Gathered
from analysis.measure import Measured, basis_text
from analysis.measured_keeping import handling_factor, interval_factors, shed_factor
from analysis.measured_prey import offer_factors, size_factors
from analysis.reasons import WELL_COVERED
from analysis.verdict import Held, Verdict
from analysis.window import HOUR_MS, came_back_ms
from config.care import CareProfile, Limit

__all__ = ["Measured", "basis_text", "measured"]

DOSE = "degree-hours below the floor"
HUMIDITY = "humidity out of range"
COMING_BACK = "hours from meal to coming back"


def measured(
    gathered: Gathered, held: Sequence[Held], verdict: Verdict, care: CareProfile
) -> list[Measured]:
    """All factors of a meal, in the order in which they are told.

    Its lines end with its window. `held` has an entry for each limit of the profile, or none at all
    where there was no probe.
    """
    return [
        *_of_limits(gathered, held, care),
        _cold_dose(gathered, care),
        *size_factors(gathered, care),
        *interval_factors(gathered, care),
        handling_factor(gathered, care),
        *offer_factors(gathered, care),
        shed_factor(gathered, care),
        _humidity(gathered, care),
        *_coming_back(gathered, verdict, care),
    ]


# ---- the warm side --------------------------------------------------------------------------


def _of_limits(gathered: Gathered, held: Sequence[Held], care: CareProfile) -> Iterator[Measured]:
    each: Sequence[Held | None] = held or [None] * len(care.limits)
    for name, limit, one in zip(limit_names(care.limits), care.limits, each, strict=True):
        yield Measured(
            name,
            one.hours if one is not None else None,
            basis_text(limit),
            limit=limit.hours,
            breaks=_limit_broken(one, gathered) if one is not None else None,
            rank_by=one.hours if one is not None else None,
            whole=_well_covered(gathered),
        )


def limit_names(limits: Sequence[Limit]) -> list[str]:
    """The plain name for the first cold-spell limit and the first hot one, the level for others."""
    names: list[str] = []
    for limit in limits:
        plain = ""
        if limit.side == "below" and limit.of == "longest spell":
            plain = "longest cold spell"
        elif limit.side == "above" and limit.of == "total":
            plain = "hours too hot"
        within = f" in the first {limit.within_hours:g} h" if limit.within_hours else ""
        what = "longest spell" if limit.of == "longest spell" else "hours"
        level = f"{what} {limit.side} {limit.level_c:g} °C{within}"
        names.append(plain if plain and plain not in names else level)
    return names


def _limit_broken(held: Held, gathered: Gathered) -> bool | None:
    if held.met:
        return True
    # Gaps have no hot form in a verdict, but "ordinary" would still say more than was seen.
    hidden_h = _missing_hours(gathered) if held.limit.side == "above" else 0.0
    return None if held.possible or held.hours + hidden_h >= held.limit.hours else False


def _cold_dose(gathered: Gathered, care: CareProfile) -> Measured:
    """Degree-hours below the floor, which is the preferred zone's lower edge. It has no rule."""
    floor = care.climate.preferred
    line = gathered.warm
    dose = line.degree_hours_below(floor.low) if line is not None and len(line) else None
    return Measured(
        DOSE,
        dose,
        basis_text(floor),
        rank_by=dose,
        whole=_well_covered(gathered),
    )


# ---- air, and the end -----------------------------------------------------------------------


def _humidity(gathered: Gathered, care: CareProfile) -> Measured:
    """Share of the known time that humidity was outside its range."""
    rule, line = care.climate.humidity_outside_share, gathered.humidity
    share, breaks, known_h = None, None, 0.0
    if line is not None and len(line):
        low, high = care.climate.humidity.low, care.climate.humidity.high
        outside_h = line.hours_below(low) + line.upside_down().hours_below(-high)
        known_h = line.known_hours
        share = outside_h / known_h if known_h else None
        missing_h = gathered.window.hours - known_h
        breaks = _share_broken(outside_h, missing_h, rule.value * gathered.window.hours)
    return Measured(
        HUMIDITY,
        share,
        basis_text(rule),
        limit=rule.value,
        breaks=breaks,
        rank_by=share,
        whole=known_h >= WELL_COVERED * gathered.window.hours,
    )


def _share_broken(outside_h: float, missing_h: float, limit_h: float) -> bool | None:
    if outside_h > limit_h:
        return True
    return None if outside_h + missing_h > limit_h else False


def _coming_back(gathered: Gathered, verdict: Verdict, care: CareProfile) -> Iterator[Measured]:
    """Hours from the meal to its coming back, where it did.

    One to three days with good temperatures is not husbandry's fault but a vet's matter: that
    breaks the rule. When it was not warm, or came back at another time, it does not.
    """
    meal, rule = gathered.meal, care.feeding.infection_hours
    if meal.outcome is None or not meal.outcome.came_back:
        return
    hours = hours_to_coming_back(gathered)
    yield Measured(
        COMING_BACK,
        hours,
        basis_text(rule),
        limit=rule.high,
        breaks=typical_of_infection(hours, verdict, care),
    )


def hours_to_coming_back(gathered: Gathered) -> float | None:
    """Hours from the meal to its coming back, where it did at a known time."""
    back_ms = came_back_ms(gathered.meal)
    return (back_ms - gathered.window.start_ms) / HOUR_MS if back_ms is not None else None


def typical_of_infection(hours: float | None, verdict: Verdict, care: CareProfile) -> bool | None:
    """Whether a meal came back as an infection makes it, although it was warm; None: unknown."""
    span = care.feeding.infection_hours
    if hours is None:
        return None
    if not span.low <= hours <= span.high:
        return False
    if verdict in ("not enough readings", "no warm-side probe"):
        return None
    return verdict == "warm enough"


# ---- what is missing ------------------------------------------------------------------------


def _missing_hours(gathered: Gathered) -> float:
    known = gathered.warm
    return gathered.window.hours - (known.known_hours if known is not None else 0.0)


def _well_covered(gathered: Gathered) -> bool:
    return _missing_hours(gathered) <= (1 - WELL_COVERED) * gathered.window.hours
