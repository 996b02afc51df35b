"""The forms of a meal: what stands in them, and what they mean."""

from __future__ import annotations

from typing import Any, Final

from analysis.entering.meals import AS_LAST, Said, as_last, begin, go_on
from analysis.feeding import next_meals_of_book
from analysis.meal_words import article
from analysis.next_words import headline
from analysis.page.forms.columns import name_of, read, shown
from analysis.page.forms.entering import Desk
from analysis.page.forms.typed import Typed
from analysis.page.looking import Looking
from collector.book.book import Book
from collector.book.doubts import Doubt
from collector.book.records import Meal, Outcome
from collector.book.rules import meal_time_ms
from config.errors import BadEntry, NotSo, Unusable

OFFERED: Final = (*AS_LAST, "prey_surface_c", "notes")
"""What is said of a new meal beside its times."""
_COLUMNS: Final = ("offered_at_ms", "taken_at_ms", "removed_at_ms", *OFFERED, "signs")
"""What may be corrected beside the outcome and its time."""


# ---- a new meal -----------------------------------------------------------------------------


def last_of(book: Book, animal: str) -> Meal | None:
    """The animal's last meal, taken or not."""
    return max(book.meals(animal), key=lambda one: meal_time_ms(one) or 0, default=None)


def new_values(home: Looking, animal: str) -> tuple[dict[str, str], str | None]:
    """What stands in the form of a new meal: as last time, or as `next` has it; and what it says.

    The second is None for an animal of which nothing is known yet.
    """
    found = next_meals_of_book(
        home.book, home.reader, home.care, home.settings, home.now_ms, animal=animal
    )
    last = last_of(home.book, animal)
    columns = as_last({}, last) if last is not None else {}
    portion = found[0].portion if found else None
    if portion is not None and "prey" not in columns:
        columns["prey"] = portion.kind
    if portion is not None and portion.halved:  # what came back is not offered again unasked
        for name in ("prey_mass_g", "prey_width_mm"):
            columns.pop(name, None)
    values = {name_of(name): shown(name, value, home.settings) for name, value in columns.items()}
    return values, headline(found[0], home.settings) if found else None


def begin_meal(it: Desk, typed: Typed) -> None:
    """Enter a new meal."""
    animal = it.animal(typed.text("animal") or None)
    last, went = last_of(it.book, animal), typed.text("went")
    if went not in ("offered", "taken", "refused"):
        typed.faults["went"] = "say whether it was offered, taken or refused"
    at_ms = typed.when(it)
    columns = {
        name: read(typed, name, it, getattr(last, name) if last is not None else None)
        for name in OFFERED
    }
    columns["taken_at_ms" if went == "taken" else "offered_at_ms"] = at_ms
    earlier_ms = read(typed, "offered_at_ms", it)
    if earlier_ms is not None and went == "taken":
        columns["offered_at_ms"] = earlier_ms
    elif earlier_ms is not None:
        typed.faults["offered_at"] = "goes with a meal that was taken; leave it empty"
    it.readable()
    if last is not None:
        _another_prey(it, columns, last)
    given = {name: value for name, value in columns.items() if value is not None}
    left_out = tuple(name for name, value in columns.items() if value is None)
    outcome = Outcome.REFUSED if went == "refused" else None
    begin(it, animal, Said(given, outcome, unknown=left_out))


def _another_prey(it: Desk, columns: dict[str, Any], last: Meal) -> None:
    """Wonder at another prey that has the very mass that was filled in from the last one."""
    mass_g, prey = columns["prey_mass_g"], columns["prey"]
    if None in (mass_g, prey, last.prey) or prey == last.prey or mass_g != last.prey_mass_g:
        return
    said = f"{it.saying().mass(mass_g)} is what the last {last.prey} weighed"
    it.wonder(Doubt("prey_mass_g", f"{said}: is that right for {article(prey)} {prey}?"))


def new_names(typed: Typed) -> dict[str, str]:
    """Which field stands for which time of a new meal."""
    names = {"taken_at": "time", "offered_at": "time", "removed_at": "time"}
    if typed.text("offered_at"):
        names.pop("offered_at")
    return names


# ---- a meal of the book ---------------------------------------------------------------------


def version_of(book: Book, meal: Meal) -> str:
    """Which version of a meal a form shows."""
    changes = book.history(meal)
    return str(changes[-1].number if changes else 0)


def meal_of(it: Desk, typed: Typed, number: int) -> Meal:
    """The meal that a form is of. Raises Unusable where it was changed since it was shown."""
    meal = it.book.meal(number)
    if typed.text("seen") != version_of(it.book, meal):
        raise Unusable(
            f"Meanwhile this was changed. The book has now: {it.words(meal)}. "
            "Look your entry over and save it again."
        )
    return meal


def correct_values(meal: Meal, home: Looking) -> dict[str, str]:
    """What stands in the form that corrects a meal."""
    columns = (*_COLUMNS, "outcome", "outcome_at_ms")
    return {name_of(name): shown(name, getattr(meal, name), home.settings) for name in columns}


def correct_meal(it: Desk, typed: Typed, number: int) -> None:
    """Enter what is right about a meal; an empty field is not known."""
    meal = meal_of(it, typed, number)
    outcome = read(typed, "outcome", it, meal.outcome)
    outcome_ms = read(typed, "outcome_at_ms", it, meal.outcome_at_ms)
    columns = {name: read(typed, name, it, getattr(meal, name)) for name in _COLUMNS}
    it.readable()
    changed = {name: value for name, value in columns.items() if value != getattr(meal, name)}
    given: dict[str, Any] = {name: value for name, value in changed.items() if value is not None}
    cleared = [name for name, value in changed.items() if value is None]
    said_again = outcome is not None and (outcome, outcome_ms) != (meal.outcome, meal.outcome_at_ms)
    if outcome is None and outcome_ms is not None:
        why = "is given without an outcome; say what became of the meal"
        raise BadEntry(f"outcome_at: {why}", field="outcome_at", why=why)
    if outcome is None and meal.outcome is not None:
        cleared += ["outcome", "outcome_at_ms"]
    elif said_again and outcome_ms is None and outcome is meal.outcome:
        said_again = False
        cleared.append("outcome_at_ms")
    said = Said(
        given, outcome if said_again else None, outcome_ms if said_again else None, tuple(cleared)
    )
    go_on(it, meal, said)


# ---- what became of it ----------------------------------------------------------------------


def answers_for(meal: Meal) -> tuple[tuple[str, str], ...]:
    """What may have become of a meal: the word that is sent, and what stands on the button."""
    if meal.taken_at_ms is None:
        return ("taken", "Taken"), ("removed", "Taken away uneaten"), ("refused", "Refused")
    return (
        ("passed", "Passed"),
        ("kept", "Kept down"),
        ("regurgitated", "Regurgitated"),
        ("vomited", "Vomited"),
    )


def outcome_values(meal: Meal, home: Looking) -> dict[str, str]:
    """What stands in the form of what became of a meal."""
    seen = {name: shown(name, getattr(meal, name), home.settings) for name in ("signs", "notes")}
    return {"ago": "now", **seen}


def number_of(typed: Typed) -> int:
    """The number of the meal that a form names. Raises NotSo."""
    text = typed.text("meal")
    if not (text.isascii() and text.isdigit() and len(text) <= 15):
        raise NotSo(f"no meal {text[:40]!r} in the book")
    return int(text)


def say_outcome(it: Desk, typed: Typed) -> None:
    """Enter what became of a meal, or that it was taken, or taken away."""
    meal = meal_of(it, typed, number_of(typed))
    at_ms, answer = typed.when(it), typed.text("outcome")
    columns = {
        name: read(typed, name, it, getattr(meal, name))
        for name in ("signs", "notes")
        if name in typed.fields
    }
    outcome = None
    if answer in ("taken", "removed"):
        columns[f"{answer}_at_ms"] = at_ms
    else:
        outcome = typed.word("outcome", Outcome)
        if outcome is None and "outcome" not in typed.faults:
            typed.faults["outcome"] = "say what became of it"
    it.readable()
    given = {name: value for name, value in columns.items() if value is not None}
    cleared = tuple(
        name for name, value in columns.items() if value is None and getattr(meal, name) is not None
    )
    go_on(it, meal, Said(given, outcome, at_ms if outcome is not None else None, cleared))
