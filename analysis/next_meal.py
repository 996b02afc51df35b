"""One animal's next meal: when at the earliest and why, what and how much, and whether today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date

from analysis.condition import Condition, State
from analysis.fit_today import Fit
from analysis.portion import Portion, portion
from analysis.waits import Digesting, Wait, due_by, local_date, taken_by, waits
from analysis.weights import weights
from analysis.window import body_mass_g, meal_pct
from collector.book.records import Meal, Weighing
from collector.rfc3339 import written
from config.care import CareProfile
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class NextMeal:
    """What the book and the probes say of an animal's next meal."""

    animal: str
    enclosure: str | None
    at_ms: int
    today: date
    last_meal: int | None
    """Number of the last meal taken."""
    not_before: date
    """The first day that every rule with a day allows; today where none holds it back."""
    due: date | None
    """The last day of the interval; None without a meal that stayed down."""
    waits: tuple[Wait, ...]
    portion: Portion | None
    fit: Fit
    state: State
    vet: tuple[str, ...]
    """Why a vet should see the animal."""

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
        """The next meal as JSON: days as YYYY-MM-DD of the home, null for what is not known."""
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
            "fit_today": asdict(self.fit),
            "condition": self.state,
            "vet": list(self.vet),
        }


def next_meal(
    condition: Condition,
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    *,
    fit: Fit,
    care: CareProfile,
    settings: Settings,
    digesting: Digesting | None = None,
    enclosure: str | None = None,
    in_shed: bool = False,
) -> NextMeal:
    """The next meal of the animal whose `condition`, meals and weighings these are.

    `fit` is its enclosure's, `digesting` the last meal as the cool side digests it; without it the
    profile's cool side is taken. What a vet says overrides all of it.
    """
    now_ms, age = condition.at_ms, condition.age_months
    today = local_date(now_ms, settings.zone)
    taken = taken_by(meals, now_ms)
    held = waits(
        meals,
        age_months=age,
        state=condition.state,
        digesting=digesting if digesting is not None else _unseen(taken, weighings),
        care=care,
        settings=settings,
        now_ms=now_ms,
        in_shed=in_shed,
    )
    signs = [f"{sign.says} ({sign.basis})" for sign in condition.signs if sign.kind == "vet"]
    return NextMeal(
        animal=condition.animal,
        enclosure=enclosure,
        at_ms=now_ms,
        today=today,
        last_meal=taken[-1][1].meal if taken else None,
        not_before=max([today, *(wait.until for wait in held if wait.until is not None)]),
        due=due_by(meals, age, care, now_ms, settings.zone),
        waits=tuple(held),
        portion=portion(meals, weighings, weights(weighings, meals, care, now_ms), care, now_ms),
        fit=fit,
        state=condition.state,
        vet=tuple([wait.why for wait in held if wait.rule == "vet"] + signs),
    )


def _unseen(taken: Sequence[tuple[int, Meal]], weighings: Sequence[Weighing]) -> Digesting:
    """The last meal where no line of the cool side is at hand."""
    if not taken:
        return Digesting(None, None)
    at_ms, meal = taken[-1]
    return Digesting(meal_pct(meal, body_mass_g(weighings, at_ms)), None)


def _day(day: date | None) -> str | None:
    return day.isoformat() if day is not None else None
