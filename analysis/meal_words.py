"""A meal in words: who took what and when, and what became of it. Pure, and light: no numpy."""

from __future__ import annotations

from datetime import tzinfo

from analysis import words
from analysis.words import HOUR_MS, day_number, hours, local_time, mass, plain, rounded_days
from collector.book.records import Meal, Outcome
from config.settings import Settings

_HOURS_TO_COUNT = 96.0  # a keeper counts hours up to four days after a meal, then days


def prey(meal: Meal, settings: Settings) -> str:
    """What was offered, with article or count: "a 220 g rat", "three mice, 25 g each"."""
    kind = plain(meal.prey or "")
    if meal.prey_count is not None and meal.prey_count != 1:
        return _several(kind, meal.prey_count, meal.prey_mass_g, settings)
    if not kind and meal.prey_mass_g is None:
        return "a meal (prey and mass not known)"
    if meal.prey_mass_g is None:
        return f"{article(kind)} {kind} (mass not known)"
    size = mass(meal.prey_mass_g, settings)
    return f"{article(size)} {size} {kind or 'meal (prey not known)'}"


def _several(kind: str, count: int, each_g: float | None, settings: Settings) -> str:
    number = words.count(count)
    each = f"{mass(each_g, settings)} each" if each_g is not None else "mass not known"
    return f"{number} {_plural(kind)}, {each}" if kind else f"{number} items, {each}"


def meal_sentence(meal: Meal, settings: Settings) -> str:
    """Who took what, when: "Maren took a 220 g rat on Tue 3 Mar 2026 at 21:40"."""
    who, what = plain(meal.animal) or "An animal", prey(meal, settings)
    if meal.taken_at_ms is not None:
        return f"{who} took {what} on {_on(meal.taken_at_ms, settings.zone)}"
    verb = "refused" if meal.outcome is Outcome.REFUSED else "was offered"
    if meal.offered_at_ms is not None:
        return f"{who} {verb} {what} on {_on(meal.offered_at_ms, settings.zone)}"
    return f"{who} {verb} {what}, when is not known"


def _on(at_ms: int, zone: tzinfo) -> str:
    return local_time(at_ms, zone).replace(", ", " at ")


def ending(meal: Meal, end_ms: int, ended_by: str, about_d: float | None) -> str:
    """What became of a meal, as the ribbon's end says it.

    `end_ms` and `ended_by` are of the meal's window, `about_d` the modelled days to digest it.
    "kept, passed day 9"; "came back after 41 h"; "day 4 of about 8".
    """
    if meal.outcome is not None and meal.outcome.came_back:
        verb = "came back" if meal.outcome is Outcome.REGURGITATED else "vomited"
        return f"{verb}{_after(meal)}"
    if meal.outcome is Outcome.PASSED:
        day = _outcome_day(meal)
        return f"kept, passed day {day}" if day is not None else "kept, passed"
    if meal.outcome is Outcome.KEPT:
        day = _outcome_day(meal)
        return f"kept, as of day {day}" if day is not None else "kept"
    if meal.outcome is not None:
        return meal.outcome.value
    if ended_by == "next meal":
        return "outcome not known, next meal taken"
    return _still_open(meal, end_ms, ended_by, about_d)


def _still_open(meal: Meal, end_ms: int, ended_by: str, about_d: float | None) -> str:
    if meal.taken_at_ms is None or ended_by != "now":
        return "outcome not known yet"
    # The window ends at this very moment: a whole number of days is still its last day's end.
    day = day_number(max(end_ms - 1, meal.taken_at_ms), meal.taken_at_ms)
    return f"day {day} of about {rounded_days(about_d)}" if about_d is not None else f"day {day}"


def _after(meal: Meal) -> str:
    if meal.taken_at_ms is None or meal.outcome_at_ms is None:
        return ", when is not known"
    elapsed_h = (meal.outcome_at_ms - meal.taken_at_ms) / HOUR_MS
    if elapsed_h <= _HOURS_TO_COUNT:
        return f" after {hours(elapsed_h)}"
    return f" on day {_outcome_day(meal)}"


def _outcome_day(meal: Meal) -> int | None:
    if meal.taken_at_ms is None or meal.outcome_at_ms is None:
        return None
    return day_number(meal.outcome_at_ms, meal.taken_at_ms)


# ---- grammar --------------------------------------------------------------------------------


def article(words: str) -> str:
    """ "a" or "an" before words that may start with a number: an 80 g rat, a 220 g rat."""
    number = words.split(" ", 1)[0].replace(",", "").split(".", 1)[0]
    if number.isdigit():
        eleven_or_eighteen = number[:2] in ("11", "18") and len(number) % 3 == 2
        return "an" if number[0] == "8" or eleven_or_eighteen else "a"
    return "an" if words[:1].lower() in tuple("aeiou") else "a"


def _plural(noun: str) -> str:
    head, _, last = noun.rpartition(" ")
    lead = f"{head} " if head else ""
    if last.endswith("mouse"):
        return f"{lead}{last.removesuffix('mouse')}mice"
    if last.endswith("mice") or (last.endswith("s") and not last.endswith("ss")):
        return noun
    return f"{lead}{last}es" if last.endswith(("ss", "x", "ch", "sh")) else f"{lead}{last}s"
