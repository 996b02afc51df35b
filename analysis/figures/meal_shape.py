"""What is drawn of a meal, as shapes and numbers: ribbon, climate, marks. No drawing."""

from __future__ import annotations

from analysis.figures.climate import Climate
from analysis.figures.ribbon import Event, RibbonShape, ribbon_shape
from analysis.gathering import Gathered
from analysis.meal_words import ending
from analysis.review import Review
from analysis.words import DAY_MS, HOUR_MS, mass, plain
from config.care import CareProfile
from config.settings import Settings


def circumstances(gathered: Gathered, settings: Settings) -> str:
    """Where, and how large a meal it was for the animal."""
    where = plain(gathered.enclosure or "") or "enclosure not known"
    body = mass(gathered.body_mass_g, settings)
    if gathered.meal_pct is None:
        return f"{where}; body mass {body}"
    return f"{where}; {gathered.meal_pct:.0f} % of its body mass ({body})"


def meal_ribbon(
    review: Review, gathered: Gathered, care: CareProfile, columns_per_day: float | None = 150.0
) -> RibbonShape:
    """The meal's ribbon over its window.

    `columns_per_day` is how finely it can be drawn, or None for every corner of the line. The
    default is finer than any picture of ours, and than a day of 75 pixels on a dense screen.
    """
    own, about_d = gathered.of_window(), review.digestion.model_days_at_30c
    window = own.window
    return ribbon_shape(
        own.warm,
        window.start_ms,
        window.end_ms,
        floor_c=care.levels_c("below")[0],
        hot_c=care.levels_c("above")[0],
        events=meal_events(own, care),
        ending=ending(own.meal, window.end_ms, window.ended_by, about_d),
        expected_d=about_d if window.ended_by == "now" else None,
        columns_per_day=columns_per_day,
    )


def meal_climate(gathered: Gathered, care: CareProfile) -> Climate:
    """What the plot shows of the meal: its window, and an hour at least."""
    own = gathered.of_window()
    floor_c, *lower_c = care.levels_c("below")
    start_ms = own.window.start_ms
    return Climate(
        start_ms,
        max(own.window.end_ms, start_ms + HOUR_MS),
        own.warm,
        own.cool,
        own.room,
        floor_c=floor_c,
        hot_c=care.levels_c("above")[0],
        lower_limits_c=tuple(lower_c),
        events=meal_events(own, care),
    )


def meal_events(gathered: Gathered, care: CareProfile) -> tuple[Event, ...]:
    """Handling, sheds and outcome, in time order; sheds as long after the meal as they matter."""
    events = [Event(one.at_ms, "handled") for one in gathered.handlings]
    meal, start_ms = gathered.meal, gathered.window.start_ms
    within = care.feeding.shed_within_days
    last_ms = max(gathered.window.end_ms, start_ms + round(within.value * DAY_MS))
    events += [
        Event(one.at_ms, one.stage.value)
        for one in gathered.sheds
        if start_ms <= one.at_ms <= last_ms
    ]
    if meal.outcome is not None and meal.outcome_at_ms is not None:
        events.append(Event(meal.outcome_at_ms, meal.outcome.value, ends_it=True))
    return tuple(sorted(events, key=lambda event: event.at_ms))
