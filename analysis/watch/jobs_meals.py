"""What the watch asks and reminds of about meals: once each, and not about long ago.

What became of a meal whose time to digest is over and of which the book does not say; and prey
that was offered and is, as far as the book knows, neither taken nor taken away. When a question is
due is the life of a meal's own matter; here it is told.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence

from analysis.meal_life import Due, MealState, due, reminders_ms
from analysis.meal_words import meal_sentence
from analysis.watch.jobs import Found
from analysis.watch.jobs_due import Daily, newest_moment
from analysis.watch.jobs_kept import Note
from analysis.watch.outbox import Urgency
from analysis.watch.states import DAY_MS, HOUR_MS
from analysis.words import local_time, plain
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
_ASK_FOR_MS = 4 * HOUR_MS
"""A question missed by more than this can wait for the next day."""
_MOST_LISTED = 8
_READ_AGAIN_SECONDS = 60.0


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
        if now_ms - asked_ms >= _ASK_FOR_MS:
            return ()
        new = [
            one.meal
            for one in self._due(MealState.OUTCOME_OPEN, _ASK_WITHIN_MS, now_ms)
            if f"{ASKED}{one.meal.meal}" not in said
        ]
        if not new:
            return ()
        return (Found(tuple(f"{ASKED}{m.meal}" for m in new), self._question(new)),)

    def reminders(self, said: Collection[str], now_ms: int) -> Sequence[Found]:
        """Prey that still lies there: after the time a snake may inspect it, and before night."""
        found = []
        for one in self._due(MealState.STILL_THERE, _LEFT_WITHIN_MS, now_ms):
            moments = reminders_ms(one.meal, self._care, self._settings.zone)
            reached = [name for name, at_ms in zip((LEFT, BEFORE_NIGHT), moments, strict=False)
                       if at_ms <= now_ms]  # fmt: skip
            names = tuple(f"{name}{one.meal.meal}" for name in reached)
            if reached and names[-1] not in said:
                # The second stands for the first, too, where both were missed.
                found.append(self._reminder(one, reached[-1], names))
        return found

    def _due(self, state: MealState, within_ms: int, now_ms: int) -> list[Due]:
        self._read()
        every = due(self._meals, now_ms, self._care, self._settings.zone, self._weighings)
        return [one for one in every if one.state is state and now_ms - one.at_ms < within_ms]

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
            lines.append(f"And {len(meals) - _MOST_LISTED} more; all of them: warmcoil due")
        answer = f"warmcoil meal {number} --outcome kept"
        lines.append(
            f"Was it kept or passed, or did it come back? Answer with: {answer}"
            if one
            else f"Were they kept or passed, or did one come back? Answer each, like: {answer}"
        )
        about = " ".join(str(m.meal) for m in meals)
        return Note("meal question", about, title, tuple(lines))

    def _reminder(self, of: Due, name: str, names: tuple[str, ...]) -> Found:
        meal = of.meal
        offered = local_time(meal.offered_at_ms, self._settings.zone)
        known = (
            f"Meal {meal.meal}, offered at {offered}, is neither taken nor taken away, as far as "
            "the book knows."
        )
        minutes = f"{self._care.feeding.inspect_minutes.value:.0f} min"
        why = f"A snake may inspect prey for {minutes}; what is not taken then goes."
        if name == BEFORE_NIGHT:
            why = "Prey is never left overnight: live prey can wound the snake, thawed prey spoils."
        lines = (known, why, "Answer with: " + ", or: ".join(of.answers))
        title = f"Prey still with {plain(meal.animal)}?"
        note = Note("prey left", f"{name}{meal.meal}", title, lines, Urgency.MEDIUM)
        return Found(names, note)
