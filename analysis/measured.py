"""The factors of a meal as figures, each held against its rule of the care profile.

What is missing is never taken for good: a rule counts as kept only where the missing readings could
not hide that it was broken.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from analysis.gathering import Gathered
from analysis.reasons import WELL_COVERED
from analysis.verdict import Held, Verdict
from analysis.window import DAY_MS, HOUR_MS, came_back_ms
from collector.book.records import FedIn, PreyState
from config.care import Basis, CareProfile, Limit, Span


class _Source(Protocol):
    @property
    def basis(self) -> Basis: ...
    @property
    def source(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Measured:
    """One factor's figure. `breaks`: whether it breaks its rule; None: no rule, or not to be told.

    `rank_by` orders it among other meals (`worse` says which way harm lies; words are compared for
    being the same), None where it cannot be. `whole` is False where missing readings could have
    added to it.
    """

    factor: str
    value: float | str | None
    basis: str
    limit: float | None = None
    breaks: bool | None = None
    rank_by: float | str | None = None
    worse: Literal["more", "less"] = "more"
    whole: bool = True


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
        _prey_share(gathered, care),
        _prey_width(gathered, care),
        *_days_since_meal(gathered, care),
        _handled(gathered, care),
        _prey_contrast(gathered, care),
        _words("prey state", gathered.meal.prey_state),
        _words("fed in", gathered.meal.fed_in),
        _humidity(gathered, care),
        *_coming_back(gathered, verdict, care),
    ]


def basis_text(of: _Source) -> str:
    """Where a number comes from, and, where that is less than a text that was read, how far."""
    if of.basis == "practice":
        return "common practice"
    added = {"memory": " (from memory)", "policy": " (our own choice)", "derived": " (derived)"}
    return of.source + added.get(of.basis, "")


# ---- the warm side --------------------------------------------------------------------------


def _of_limits(gathered: Gathered, held: Sequence[Held], care: CareProfile) -> Iterator[Measured]:
    each: Sequence[Held | None] = held or [None] * len(care.limits)
    for name, limit, one in zip(_limit_names(care.limits), care.limits, each, strict=True):
        yield Measured(
            name,
            one.hours if one is not None else None,
            basis_text(limit),
            limit=limit.hours,
            breaks=_limit_broken(one, gathered) if one is not None else None,
            rank_by=one.hours if one is not None else None,
            whole=_well_covered(gathered),
        )


def _limit_names(limits: Sequence[Limit]) -> list[str]:
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
        "degree-hours below the floor",
        dose,
        basis_text(floor),
        rank_by=dose,
        whole=_well_covered(gathered),
    )


# ---- the prey -------------------------------------------------------------------------------


def _prey_share(gathered: Gathered, care: CareProfile) -> Measured:
    """The meal in % of body mass, against the higher of two limits that it passes."""
    pct, feeding = gathered.meal_pct, care.feeding
    too_large = pct is not None and pct > feeding.prey_share_too_large.value
    rule = feeding.prey_share_too_large if too_large else feeding.prey_share_large
    return Measured(
        "prey share of body mass",
        pct,
        basis_text(rule),
        limit=rule.value,
        breaks=pct > rule.value if pct is not None else None,
        rank_by=pct,
    )


def _prey_width(gathered: Gathered, care: CareProfile) -> Measured:
    prey_mm, body_mm = gathered.meal.prey_width_mm, gathered.midbody_mm
    rule = care.feeding.width_over_midbody_mm
    over_mm = prey_mm - body_mm if prey_mm is not None and body_mm is not None else None
    return Measured(
        "prey width over mid-body",
        over_mm,
        basis_text(rule),
        limit=rule.value,
        breaks=over_mm > rule.value if over_mm is not None else None,
        rank_by=over_mm,
    )


def _prey_contrast(gathered: Gathered, care: CareProfile) -> Measured:
    """How much warmer the prey's surface was than the warm side when the meal was taken, in K."""
    surface_c, rule = gathered.meal.prey_surface_c, care.feeding.surface_contrast_c
    line = gathered.warm
    around_c = line.value_at(gathered.window.start_ms) if line is not None else None
    contrast = surface_c - around_c if surface_c is not None and around_c is not None else None
    return Measured(
        "prey surface contrast",
        contrast,
        basis_text(rule),
        limit=rule.value,
        breaks=contrast < rule.value if contrast is not None else None,
        rank_by=contrast,
        worse="less",
    )


def _words(factor: str, value: PreyState | FedIn | None) -> Measured:
    word = value.value if value is not None else None
    return Measured(factor, word, "common practice", rank_by=word)


# ---- the keeper -----------------------------------------------------------------------------


def _days_since_meal(gathered: Gathered, care: CareProfile) -> Iterator[Measured]:
    """Days since the meal before was taken; and since it came back, where it did."""
    before, start_ms = gathered.meal_before, gathered.window.start_ms
    taken_ms = before.taken_at_ms if before is not None else None
    days = (start_ms - taken_ms) / DAY_MS if taken_ms is not None else None
    rule = _interval(days, gathered.age_months, care)
    yield Measured(
        "days since the meal before",
        days,
        basis_text(rule) + (", age not known" if gathered.age_months is None else ""),
        limit=rule.low,
        breaks=_too_soon(days, gathered.age_months, care),
        rank_by=days,
        worse="less",
    )
    if before is None or before.outcome is None or not before.outcome.came_back:
        return
    back_ms, rest = came_back_ms(before), care.feeding.rest_after_regurgitation_days
    rested = (start_ms - back_ms) / DAY_MS if back_ms is not None else None
    yield Measured(
        "days since the meal before came back",
        rested,
        basis_text(rest),
        limit=rest.value,
        breaks=rested < rest.value if rested is not None else None,
    )


def _interval(days: float | None, age_months: int | None, care: CareProfile) -> Span:
    """The interval for an age; for an unknown one the shortest if that is broken, else the longest.

    Shorter than the shortest breaks the rule at any age, and as long as the longest keeps it.
    """
    by_age = sorted(care.feeding.intervals, key=lambda one: one.from_months)
    if age_months is not None:
        fitting = [one for one in by_age if one.from_months <= age_months]
        return (fitting or by_age)[-1 if fitting else 0].days
    spans = sorted((one.days for one in by_age), key=lambda span: span.low)
    return spans[0] if days is not None and days < spans[0].low else spans[-1]


def _too_soon(days: float | None, age_months: int | None, care: CareProfile) -> bool | None:
    if days is None:
        return None
    rule = _interval(days, age_months, care)
    if days >= rule.low:
        return False
    shortest = min(one.days.low for one in care.feeding.intervals)
    return True if age_months is not None or days < shortest else None


def _handled(gathered: Gathered, care: CareProfile) -> Measured:
    """Hours from the meal to the first handling in its window; none in the book keeps the rule."""
    rule, start_ms = care.feeding.no_handling_hours, gathered.window.start_ms
    first = min((one.at_ms for one in gathered.handlings), default=None)
    hours = max(0.0, (first - start_ms) / HOUR_MS) if first is not None else None
    return Measured(
        f"handled within {rule.value:g} h",
        hours,
        basis_text(rule),
        limit=rule.value,
        breaks=hours is not None and hours < rule.value,
        rank_by=hours if hours is not None else math.inf,
        worse="less",
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
        "humidity out of range",
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
        "hours from meal to coming back",
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
