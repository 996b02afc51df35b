"""Condition and growth: weights, food and the keeper's own look, and what they say early.

What a record cannot show stays open: a figure that is not known is None, and a trend is named only
where its whole interval says so. A fresh look at the animal (spine, ribs, tail) outweighs what its
weights say; a vet outweighs that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

from analysis.ages import months_old
from analysis.as_of import meals_as_of, records_as_of
from analysis.body_look import LookScore, State, newest_look
from analysis.food import Food, food
from analysis.gathering import Facts, gathered_from
from analysis.measured import basis_text
from analysis.review import review
from analysis.tracks import Tracks
from analysis.verdict import Verdict
from analysis.vet_signs import VetSign, last_that_came_back, vet_signs
from analysis.weights import Loss, ScaledMass, Trend, Weight, loss, scaled_mass, trend, weights
from collector.book.records import Animal, Dropping, Look, Meal, Weighing
from collector.rfc3339 import written
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

__all__ = ["Condition", "Sign", "State", "condition", "conditions_of", "conditions_of_book"]

_Of = TypeVar("_Of", Meal, Weighing, Look, Dropping)

Kind = Literal["vet", "underfed", "overfed"]


@dataclass(frozen=True, slots=True)
class Sign:
    """Something the records say, with its figure and where its limit comes from."""

    kind: Kind
    says: str
    basis: str


@dataclass(frozen=True, slots=True)
class Condition:
    """One animal's condition as far as the book shows it."""

    animal: str
    at_ms: int
    age_months: int | None
    grown: bool
    """True when known to be grown, by the care profile's age."""
    mass_g: float | None
    mass_at_ms: int | None
    trend: Trend | None
    loss: Loss | None
    food: Food | None
    scaled_mass: ScaledMass | None
    look: LookScore | None
    """The newest look, however old."""
    signs: tuple[Sign, ...]
    """What weights and food say."""
    vet: tuple[VetSign, ...] = ()
    """What meals and droppings say that is for a vet."""

    @property
    def state(self) -> State:
        """By a fresh look that decides; else by what weights and food say."""
        if self.look is not None and self.look.fresh and self.look.state != "not known":
            return self.look.state
        return self.state_by_records

    @property
    def by_look(self) -> bool:
        """True when a look decides the state."""
        return self.look is not None and self.look.fresh and self.look.state != "not known"

    @property
    def state_by_records(self) -> State:
        """Thin where anything says so, else heavy, else ordinary; not known without a trend."""
        kinds = {sign.kind for sign in self.signs}
        if kinds & {"vet", "underfed"}:
            return "thin"
        if "overfed" in kinds:
            return "heavy"
        known = self.trend is not None and self.trend.direction != "cannot tell"
        return "ordinary" if known else "not known"

    @property
    def contradiction(self) -> str | None:
        """A fresh look against the weights, in words; None where they agree or one is missing."""
        if not self.by_look or self.look is None:
            return None
        says = self.look.state
        way = self.trend.direction if self.trend is not None else "cannot tell"
        against = {
            ("thin", "rising"): "its weight is rising",
            ("heavy", "falling"): "its weight is falling",
        }.get((says, way))
        if against is None and {says, self.state_by_records} == {"thin", "heavy"}:
            against = f"the records say {self.state_by_records}"
        return f"the look says {says}, but {against}" if against is not None else None

    @property
    def why_a_vet(self) -> tuple[str, ...]:
        """Every reason for a vet, the gravest first."""
        lost = [sign.says for sign in self.signs if sign.kind == "vet"]
        return tuple([sign.says for sign in self.vet] + lost)

    def as_json(self) -> dict[str, object]:
        """The condition as JSON: times RFC 3339 in UTC, null for what is not known.

        ```
        animal, at, age_months, mass_g, mass_at,
        state:        "thin" | "ordinary" | "heavy" | "not known"
        state_by:     "look" | "records"
        contradiction: text or null
        look:         {at, days_ago, fresh, state, because, basis}
        trend:        {pct_month, low_pct_month, high_pct_month, weighings, days, with_meal_inside,
                      direction: "rising" | "falling" | "steady" | "cannot tell"}
        loss:         {peak_g, peak_at, last_g, last_at, pct}
        food:         {days, meals, came_back, g_month, pct_month, kcal_month, mass_unknown,
                      share_unknown, energy_unknown, usual_low_pct, usual_high_pct}
        scaled_mass:  {index_g, at, length_cm, exponent, correlation, records, animals, of_median}
        signs:        [{kind, says, basis}]; kind: "vet" | "underfed" | "overfed"
        ```
        """
        vet = [Sign("vet", sign.says, sign.basis) for sign in self.vet]
        return {
            "animal": self.animal,
            "at": written(self.at_ms),
            "age_months": self.age_months,
            "mass_g": self.mass_g,
            "mass_at": _time(self.mass_at_ms),
            "state": self.state,
            "state_by": "look" if self.by_look else "records",
            "contradiction": self.contradiction,
            "look": _timed(asdict(self.look)) if self.look is not None else None,
            "trend": asdict(self.trend) if self.trend is not None else None,
            "loss": _timed(asdict(self.loss)) if self.loss is not None else None,
            "food": asdict(self.food) if self.food is not None else None,
            "scaled_mass": _timed(asdict(self.scaled_mass))
            if self.scaled_mass is not None
            else None,
            "signs": [asdict(sign) for sign in (*vet, *self.signs)],
        }


def conditions_of_book(
    book: Book,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    animal: str | None = None,
    *,
    reader: Reader | None = None,
) -> list[Condition]:
    """The condition of every animal, or of one; the exponent is fitted to all that are alike.

    With a reader, a meal that came back is judged by its readings: an infection shows in a meal
    that came back although it was warm enough.
    """
    meals = meals_as_of(book.meals(), now_ms)
    verdicts = (
        _verdicts(book, reader, meals, care, settings, now_ms, animal) if reader is not None else {}
    )
    return conditions_of(
        book.animals(),
        meals,
        records_as_of(book.weighings(), now_ms),
        care,
        settings,
        now_ms,
        animal=animal,
        looks=book.looks(),
        droppings=records_as_of(book.droppings(), now_ms),
        verdicts=verdicts,
    )


def _verdicts(  # noqa: PLR0917  # a home's parts as they are opened
    book: Book,
    reader: Reader,
    meals: Sequence[Meal],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    animal: str | None,
) -> dict[str, Verdict]:
    """Of each animal whose last meal came back: the verdict on its warm side."""
    facts, tracks, found = Facts.of(book, animal), Tracks(reader), {}
    for name, own in _by_animal(meals).items():
        back = last_that_came_back(own, now_ms) if animal in (None, name) else None
        if back is not None:
            gathered = gathered_from(
                back, facts, tracks, care=care, settings=settings, now_ms=now_ms, with_room=False
            )
            found[name] = review(gathered, care, settings).verdict
    return found


def conditions_of(  # noqa: PLR0917  # records first, then what they are judged by
    animals: Sequence[Animal],
    meals: Iterable[Meal],
    weighings: Iterable[Weighing],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    animal: str | None = None,
    looks: Iterable[Look] = (),
    droppings: Iterable[Dropping] = (),
    verdicts: Mapping[str, Verdict] | None = None,
) -> list[Condition]:
    """The same from records."""
    fed, weighed = _by_animal(meals), _by_animal(weighings)
    looked, dropped = _by_animal(looks), _by_animal(droppings)
    masses = {
        one.animal: weights(weighed.get(one.animal, []), fed.get(one.animal, []), care, now_ms)
        for one in animals
    }
    empty = {(name, of.at_ms) for name, found in masses.items() for of in found if not of.fed}
    return [
        condition(
            one,
            fed.get(one.animal, []),
            weighed.get(one.animal, []),
            care,
            settings,
            now_ms,
            records=[
                of
                for like in animals
                if like.species == one.species
                for of in weighed.get(like.animal, [])
                if (of.animal, of.at_ms) in empty
            ],
            looks=looked.get(one.animal, []),
            droppings=dropped.get(one.animal, []),
            verdict=(verdicts or {}).get(one.animal),
        )
        for one in animals
        if animal is None or one.animal == animal
    ]


def condition(  # noqa: PLR0917  # records first, then what they are judged by
    animal: Animal,
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    records: Sequence[Weighing] = (),
    looks: Sequence[Look] = (),
    droppings: Sequence[Dropping] = (),
    verdict: Verdict | None = None,
) -> Condition:
    """One animal's condition. `records` are what the exponent of its length is fitted to.

    `verdict` is of the warm side after its last meal that came back.
    """
    masses: Sequence[Weight] = weights(weighings, meals, care, now_ms)
    age = months_old(animal, now_ms, settings.zone)
    grown = age is not None and age >= care.condition.grown_months.value
    found, lost = trend(masses, care, now_ms), loss(masses)
    eaten = food(meals, weighings, age, care, now_ms)
    least = round(care.condition.index_least_records.value)
    return Condition(
        animal=animal.animal,
        at_ms=now_ms,
        age_months=age,
        grown=grown,
        mass_g=masses[-1].mass_g if masses else None,
        mass_at_ms=masses[-1].at_ms if masses else None,
        trend=found,
        loss=lost,
        food=eaten,
        scaled_mass=scaled_mass(animal.animal, records, least),
        look=newest_look(looks, care, now_ms),
        signs=tuple(_signs(found, lost, eaten, care, grown=grown)),
        vet=tuple(
            vet_signs(
                meals,
                droppings,
                care=care,
                now_ms=now_ms,
                zone=settings.zone,
                verdict=verdict,
            )
        ),
    )


def _signs(
    found: Trend | None, lost: Loss | None, eaten: Food | None, care: CareProfile, *, grown: bool
) -> Iterator[Sign]:
    limits = care.condition
    if lost is not None and lost.pct > limits.loss_vet_pct.value:
        says = f"more than {limits.loss_vet_pct.value:.0f} % lost from its peak"
        yield Sign("vet", says, basis_text(limits.loss_vet_pct))
    elif lost is not None and lost.pct >= limits.loss_early_pct.value:
        says = f"{limits.loss_early_pct.value:.0f} % or more lost from its peak"
        yield Sign("underfed", says, basis_text(limits.loss_early_pct))
    if found is not None and found.direction == "falling":
        says = f"mass falling by {-found.pct_month:.1f} % a month"
        yield Sign("underfed", says, "Sen 1968, J. Am. Stat. Assoc. 63:1379")
    if eaten is not None:
        yield from _of_food(eaten, found, care, grown=grown)
    rise = limits.grown_rise_pct_month
    if (
        grown
        and found is not None
        and found.direction == "rising"
        and found.pct_month >= rise.value
    ):
        says = f"grown, and mass still rising by {found.pct_month:.1f} % a month"
        yield Sign("overfed", says, basis_text(rise))


def _of_food(eaten: Food, found: Trend | None, care: CareProfile, *, grown: bool) -> Iterator[Sign]:
    """Food outside what is usual. What is usual is told of young animals: a grown one that eats
    less and keeps its mass is fed enough, and so is any that gains."""
    usual = f"{eaten.usual_low_pct:.0f} to {eaten.usual_high_pct:.0f} %"
    says = f"fed {eaten.pct_month or 0:.0f} % of its mass a month; {usual} is usual"
    share = care.feeding.prey_share
    if eaten.over:
        yield Sign("overfed", says, basis_text(share))
    elif eaten.under and not grown and (found is None or found.direction != "rising"):
        yield Sign("underfed", says, basis_text(share))


def _by_animal(records: Iterable[_Of]) -> dict[str, list[_Of]]:
    found: dict[str, list[_Of]] = {}
    for one in records:
        found.setdefault(one.animal, []).append(one)
    return found


def _timed(figures: dict[str, object]) -> dict[str, object]:
    """Every `…_at_ms` or `at_ms` as a time."""
    return {
        name.removesuffix("_ms") if name.endswith("at_ms") else name: _time(value)
        if name.endswith("at_ms") and isinstance(value, int)
        else value
        for name, value in figures.items()
    }


def _time(at_ms: int | None) -> str | None:
    return written(at_ms) if at_ms is not None else None
