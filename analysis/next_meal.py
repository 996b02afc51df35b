"""One animal's next meal: when at the earliest and why, what and how much, and whether today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date

from analysis import words
from analysis.condition import Condition, State
from analysis.fit_today import Fit
from analysis.in_shed import InShed
from analysis.notes import Notes, notes
from analysis.portion import Portion, at_most_g, portion
from analysis.through import Digesting, inside, pct_of
from analysis.waits import Wait, due_by, taken_by, waits
from analysis.weights import weights
from collector.book.records import Meal, Weighing
from collector.rfc3339 import written
from config.care import CareProfile
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class NextMeal:
    """What the book and the probes say of an animal's next meal: a proposal, no more."""

    animal: str
    enclosure: str | None
    at_ms: int
    today: date
    last_meal: int | None
    """Number of the last meal taken."""
    last_meal_ms: int | None
    allowed_from: date | None
    """The first day that every rule with a day allows, be it past; None without such a rule."""
    due: date | None
    """The last day of the interval; None without a meal, or when the last one came back."""
    waits: tuple[Wait, ...]
    portion: Portion | None
    at_most_g: float | None
    """After a meal that came back, half of it."""
    fit: Fit
    state: State
    vet: tuple[str, ...]
    """Why a vet should see the animal."""
    notes: Notes = field(default_factory=Notes)

    @property
    def not_before(self) -> date:
        """The first day from today on that every rule with a day allows."""
        return max(self.today, self.allowed_from or self.today)

    @property
    def open_ended(self) -> tuple[Wait, ...]:
        """Rules that no day can be given for."""
        return tuple(wait for wait in self.waits if wait.until is None)

    @property
    def earliest(self) -> date | None:
        """The earliest day for a meal; None while something has no day."""
        return None if self.open_ended else self.not_before

    @property
    def today_is_right(self) -> bool:
        """True when nothing holds a meal back and the enclosure is known to be fit today."""
        return self.earliest == self.today and self.fit.fit is True

    @property
    def holding(self) -> tuple[Wait, ...]:
        """The rules that still hold a meal back, the one that ends last first."""
        return tuple(w for w in self.waits if w.until is None or w.until > self.today)

    def as_json(self) -> dict[str, object]:
        """The next meal as JSON; days are YYYY-MM-DD of the home, null is not known.

        ```
        animal, enclosure, at,
        last_meal:   number of the last meal taken
        earliest:    the first day for a meal; null while a rule has no day (vet, shed)
        not_before:  the first day that the rules with a day allow
        due:         the last day of the interval
        today:       true: nothing holds a meal back, and the enclosure is known to be fit today
        waits:       [{rule, until, why, basis}], the one that ends last first, those that are over
                     included; rule: "interval" | "digestion" | "after coming back" | "shed" | "vet"
        portion:     {low_g, high_g, body_g, body_at, halved, rather, width_mm, kind, kinds,
                     low_kcal, high_kcal, energy_basis, basis}; null without a weighing in 90 days
        at_most_g:   half of the last meal that came back; null without one
        fit_today:   {fit, reasons, known_hours, hours_below, hours_above}; fit: true | false | null
        condition:   "thin" | "ordinary" | "heavy" | "not known"
        vet:         [text] why a vet should see it
        to_ask:      [text] what the book does not say and the keeper may know
        to_mind:     [text] what to mind when feeding it
        ```
        """
        body = asdict(self.portion) if self.portion is not None else None
        if body is not None and self.portion is not None:
            body["body_at"] = written(self.portion.body_at_ms)
            del body["body_at_ms"]
        return {
            "animal": self.animal,
            "enclosure": self.enclosure,
            "at": written(self.at_ms),
            "last_meal": self.last_meal,
            "earliest": _day(self.earliest),
            "not_before": self.not_before.isoformat(),
            "due": _day(self.due),
            "today": self.today_is_right,
            "waits": [{**asdict(wait), "until": _day(wait.until)} for wait in self.waits],
            "portion": body,
            "at_most_g": self.at_most_g,
            "fit_today": asdict(self.fit),
            "condition": self.state,
            "vet": list(self.vet),
            "to_ask": list(self.notes.ask),
            "to_mind": list(self.notes.mind),
        }


def next_meal(
    condition: Condition,
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    *,
    fit: Fit,
    care: CareProfile,
    settings: Settings,
    digesting: Sequence[Digesting] | None = None,
    enclosure: str | None = None,
    shed: InShed | None = None,
    shares_with: Sequence[str] = (),
) -> NextMeal:
    """The next meal of the animal whose `condition`, meals and weighings these are, up to now.

    `fit` is its enclosure's, `digesting` the meals that may be inside with the lines since; without
    it the profile's cool side is taken. `shares_with` are animals in the same enclosure. What a vet
    says overrides all of it.
    """
    now_ms, age = condition.at_ms, condition.age_months
    taken = taken_by(meals, now_ms)
    held = waits(
        meals,
        weighings,
        age_months=age,
        state=condition.state,
        digesting=_unseen(meals, weighings, settings, now_ms) if digesting is None else digesting,
        care=care,
        settings=settings,
        now_ms=now_ms,
        shed=shed,
        vet=condition.vet,
    )
    days = [wait.until for wait in held if wait.until is not None]
    due = due_by(
        meals,
        age_months=age,
        state=condition.state,
        care=care,
        now_ms=now_ms,
        zone=settings.zone,
    )
    return NextMeal(
        animal=condition.animal,
        enclosure=enclosure,
        at_ms=now_ms,
        today=words.local_day_of(now_ms, settings.zone),
        last_meal=taken[-1][1].meal if taken else None,
        last_meal_ms=taken[-1][0] if taken else None,
        allowed_from=max(days, default=None),
        due=max([due, *days]) if due is not None else None,
        waits=tuple(held),
        portion=portion(
            meals,
            weighings,
            weights(weighings, meals, care, now_ms),
            state=condition.state,
            care=care,
            now_ms=now_ms,
        ),
        at_most_g=at_most_g(meals, care, now_ms),
        fit=fit,
        state=condition.state,
        vet=condition.why_a_vet,
        notes=notes(meals, weighings, shed, shares_with, enclosure, care, settings, now_ms),
    )


def _unseen(
    meals: Sequence[Meal], weighings: Sequence[Weighing], settings: Settings, now_ms: int
) -> list[Digesting]:
    """The meals inside where no lines are at hand."""
    return [
        Digesting(max(taken for one in of_day if (taken := one.taken_at_ms) is not None), pct)
        for of_day in inside(meals, now_ms, settings.zone)
        for pct in (pct_of(of_day, weighings),)
    ]


def _day(day: date | None) -> str | None:
    return day.isoformat() if day is not None else None
