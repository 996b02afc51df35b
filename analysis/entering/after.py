"""What has to be said, or asked, once something is entered."""

from __future__ import annotations

from collections.abc import Sequence

from collector.book.records import Dropping, Meal, Outcome, Record, Signs


def vet_words(record: Record) -> str | None:
    """A word about the vet where what was seen asks for it."""
    match record:
        case Meal() if record.outcome is Outcome.VOMITED or (
            _odd(record.signs) and record.outcome is not None
        ):
            return "Vomiting, mucus or blood: ask a vet at once."
        case Dropping() if _odd(record.signs):
            return "Mucus or blood: ask a vet."
        case _:
            return None


def perhaps_passed(meals: Sequence[Meal], found: Dropping) -> Meal | None:
    """The meal that droppings may be of: the last one taken before, where it stayed down so far.

    `meals` are the animal's, by time. Nothing is assumed: the keeper is asked.
    """
    taken = [one for one in meals if one.taken_at_ms is not None and one.taken_at_ms < found.at_ms]
    return taken[-1] if taken and taken[-1].outcome in (None, Outcome.KEPT) else None


def _odd(signs: Signs | None) -> bool:
    return signs not in (None, Signs.NONE)
