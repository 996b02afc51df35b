"""What the watch asks and reminds of about meals: once each, and not about long ago.

What became of a meal whose window is over and of which the book does not say; and prey that was
offered and is, as far as the book knows, neither taken nor taken away.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import time as time_of_day

from analysis.meal_words import meal_sentence
from analysis.watch.jobs import Found
from analysis.watch.jobs_due import Daily, newest_moment, next_moment
from analysis.watch.jobs_kept import Note
from analysis.watch.outbox import Urgency
from analysis.watch.states import DAY_MS, MINUTE_MS
from analysis.window import meal_window
from analysis.words import local_time
from collector.book.book import Book
from collector.book.records import Meal, Weighing
from config.care import CareProfile
from config.home import Home
from config.settings import Settings

ASKED = "asked of meal "
LEFT = "prey left of meal "
BEFORE_NIGHT = "prey left before night of meal "
PREFIXES = (ASKED, LEFT, BEFORE_NIGHT)
"""The names under which it is kept that it was said; the meal's number follows."""

_ASK_WITHIN_MS = 30 * DAY_MS
_LEFT_WITHIN_MS = DAY_MS
_MOST_LISTED = 8
_READ_AGAIN_SECONDS = 60.0
_NIGHT_MS = 9 * 60 * MINUTE_MS


@dataclass(frozen=True, slots=True)
class OpenMeal:
    """A taken meal whose window was over at `over_ms`, and of which no outcome is known."""

    meal: Meal
    over_ms: int


def open_meals(
    meals: Iterable[Meal], weighings: Iterable[Weighing], care: CareProfile, now_ms: int
) -> list[OpenMeal]:
    """The meals to ask about: their window over, lately, and the outcome open. Oldest first."""
    of_animal: dict[str, list[Meal]] = {}
    for meal in meals:
        of_animal.setdefault(meal.animal, []).append(meal)
    weighed: dict[str, list[Weighing]] = {}
    for weighing in weighings:
        weighed.setdefault(weighing.animal, []).append(weighing)
    found = []
    for animal, own in of_animal.items():
        for meal in own:
            taken_ms = meal.taken_at_ms
            if meal.outcome is None and taken_ms is not None and taken_ms <= now_ms:
                window = meal_window(meal, own, weighed.get(animal, []), care, now_ms)
                over = window.end_ms < now_ms and window.end_ms >= now_ms - _ASK_WITHIN_MS
                if over:
                    found.append(OpenMeal(meal, window.end_ms))
    return sorted(found, key=lambda one: (one.over_ms, one.meal.meal))


def prey_left(meals: Iterable[Meal], inspect_ms: int, now_ms: int) -> list[Meal]:
    """Offers of the last day, older than `inspect_ms`, neither taken nor removed nor refused."""
    return [
        meal
        for meal in meals
        if meal.offered_at_ms is not None
        and inspect_ms <= now_ms - meal.offered_at_ms < _LEFT_WITHIN_MS
        and meal.taken_at_ms is None
        and meal.removed_at_ms is None
        and meal.outcome is None
    ]


class MealLooks:
    """Looks into a home's book for something to ask or to remind of."""

    def __init__(
        self,
        home: Home,
        care: CareProfile,
        settings: Settings,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._home = home
        self._care = care
        self._settings = settings
        self._monotonic = monotonic
        self._read_s = -1e18
        self._meals: list[Meal] = []
        self._weighings: list[Weighing] = []

    def questions(self, said: Collection[str], now_ms: int) -> Sequence[Found]:
        """What became of these meals? Asked once a meal, at the time of day of the settings."""
        asked_ms = newest_moment(Daily(self._settings.watch.ask_at), now_ms, self._settings.zone)
        if now_ms - asked_ms >= _NIGHT_MS // 2:  # a question can wait for the next day
            return ()
        self._read()
        opened = open_meals(self._meals, self._weighings, self._care, now_ms)
        new = [one.meal for one in opened if f"{ASKED}{one.meal.meal}" not in said]
        if not new:
            return ()
        return (Found(tuple(f"{ASKED}{m.meal}" for m in new), self._question(new)),)

    def reminders(self, said: Collection[str], now_ms: int) -> Sequence[Found]:
        """Prey that still lies there: after the time a snake may inspect it, and before night."""
        self._read()
        left = prey_left(
            self._meals, round(self._care.feeding.inspect_minutes.value * MINUTE_MS), now_ms
        )
        found = []
        for meal in left:
            if f"{LEFT}{meal.meal}" not in said:
                found.append(self._reminder(meal, LEFT))
            elif self._is_evening(meal, now_ms) and f"{BEFORE_NIGHT}{meal.meal}" not in said:
                found.append(self._reminder(meal, BEFORE_NIGHT))
        return found

    def _is_evening(self, meal: Meal, now_ms: int) -> bool:
        """True in the evening, for prey that was offered before it."""
        evening: time_of_day = self._settings.watch.evening_at
        zone = self._settings.zone
        begun_ms = newest_moment(Daily(evening), now_ms, zone)
        offered_ms = meal.offered_at_ms if meal.offered_at_ms is not None else now_ms
        return (
            now_ms - begun_ms < _NIGHT_MS
            and next_moment(Daily(evening), offered_ms, zone) <= now_ms
        )

    def _read(self) -> None:
        now_s = self._monotonic()
        if now_s - self._read_s < _READ_AGAIN_SECONDS:
            return
        self._read_s = now_s
        self._meals, self._weighings = [], []
        if self._home.book.exists():
            with Book(self._home.book, read_only=True) as book, book.transaction():
                self._meals, self._weighings = book.meals(), book.weighings()

    def _question(self, meals: Sequence[Meal]) -> Note:
        one = len(meals) == 1
        number = meals[0].meal
        title = f"What became of meal {number}?" if one else f"What became of {len(meals)} meals?"
        lines = [
            f"Meal {m.meal}: {meal_sentence(m, self._settings)}." for m in meals[:_MOST_LISTED]
        ]
        if len(meals) > _MOST_LISTED:
            lines.append(f"And {len(meals) - _MOST_LISTED} more, in the table of: warmcoil review")
        kept = "was it kept, passed, or did it come back" if one else "were they kept or passed"
        lines.append(
            f"Its time to be digested is over: {kept}? Answer with: "
            f"warmcoil meal outcome {number} kept"
            if one
            else f"Their time to be digested is over: {kept}, or did one come back? Answer each "
            f"with, for example: warmcoil meal outcome {number} kept"
        )
        about = " ".join(str(m.meal) for m in meals)
        return Note("meal question", about, title, tuple(lines))

    def _reminder(self, meal: Meal, name: str) -> Found:
        animal = meal.animal
        title = f"Prey still with {animal}?"
        lines = (
            f"Meal {meal.meal}, offered at "
            f"{local_time(meal.offered_at_ms, self._settings.zone)}, is neither taken nor taken "
            "away, as far as the book knows.",
            "Prey is never left overnight: live prey can wound the snake, thawed prey spoils."
            if name == BEFORE_NIGHT
            else "A snake may inspect prey for half an hour; what is not taken then goes.",
            f"Answer with: warmcoil meal taken {meal.meal}, or: warmcoil meal removed {meal.meal}",
        )
        note = Note("prey left", f"{name}{meal.meal}", title, lines, Urgency.MEDIUM)
        return Found((f"{name}{meal.meal}",), note)
