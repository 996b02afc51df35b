"""Condition and growth: weights and food of one animal, and what they say early.

What a record cannot show stays open: a figure that is not known is None, and a trend is named only
where its whole interval says so. A look at the animal (spine, skin folds, tail) outweighs all of
it; a vet outweighs that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

from analysis.food import Food, food, months_old
from analysis.measured import basis_text
from analysis.weights import Loss, ScaledMass, Trend, Weight, loss, scaled_mass, trend, weights
from collector.book.records import Animal, Meal, Weighing
from collector.rfc3339 import written
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book

_Of = TypeVar("_Of", Meal, Weighing)

State = Literal["thin", "ordinary", "heavy", "not known"]

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
    mass_g: float | None
    mass_at_ms: int | None
    trend: Trend | None
    loss: Loss | None
    food: Food | None
    scaled_mass: ScaledMass | None
    signs: tuple[Sign, ...]

    @property
    def state(self) -> State:
        """Thin where anything says so, else heavy, else ordinary; not known without a trend."""
        kinds = {sign.kind for sign in self.signs}
        if kinds & {"vet", "underfed"}:
            return "thin"
        if "overfed" in kinds:
            return "heavy"
        known = self.trend is not None and self.trend.direction != "cannot tell"
        return "ordinary" if known else "not known"

    def as_json(self) -> dict[str, object]:
        """The condition as JSON: times RFC 3339 in UTC, null for what is not known."""
        return {
            "animal": self.animal,
            "at": written(self.at_ms),
            "age_months": self.age_months,
            "mass_g": self.mass_g,
            "mass_at": _time(self.mass_at_ms),
            "trend": asdict(self.trend) if self.trend is not None else None,
            "loss": _timed(asdict(self.loss)) if self.loss is not None else None,
            "food": asdict(self.food) if self.food is not None else None,
            "scaled_mass": _timed(asdict(self.scaled_mass))
            if self.scaled_mass is not None
            else None,
            "state": self.state,
            "signs": [asdict(sign) for sign in self.signs],
        }


def conditions_of_book(
    book: Book, care: CareProfile, settings: Settings, now_ms: int, animal: str | None = None
) -> list[Condition]:
    """The condition of every animal, or of one; the exponent is fitted to all that are alike."""
    return conditions_of(
        book.animals(), book.meals(), book.weighings(), care, settings, now_ms, animal=animal
    )


def conditions_of(  # noqa: PLR0917  # records first, then what they are judged by
    animals: Sequence[Animal],
    meals: Iterable[Meal],
    weighings: Iterable[Weighing],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
    *,
    animal: str | None = None,
) -> list[Condition]:
    """The same from records."""
    fed, weighed = _by_animal(meals), _by_animal(weighings)
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
) -> Condition:
    """One animal's condition. `records` are what the exponent of its length is fitted to."""
    masses: Sequence[Weight] = weights(weighings, meals, care, now_ms)
    age = months_old(animal, now_ms, settings.zone)
    found, lost = trend(masses, care, now_ms), loss(masses)
    eaten = food(meals, weighings, age, care, now_ms)
    return Condition(
        animal=animal.animal,
        at_ms=now_ms,
        age_months=age,
        mass_g=masses[-1].mass_g if masses else None,
        mass_at_ms=masses[-1].at_ms if masses else None,
        trend=found,
        loss=lost,
        food=eaten,
        scaled_mass=scaled_mass(
            animal.animal, records, round(care.condition.index_least_records.value)
        ),
        signs=tuple(_signs(found, lost, eaten, age, care)),
    )


def _signs(
    found: Trend | None, lost: Loss | None, eaten: Food | None, age: int | None, care: CareProfile
) -> Iterator[Sign]:
    limits = care.condition
    if lost is not None and lost.pct > limits.loss_vet_pct.value:
        yield Sign("vet", f"{lost.pct:.0f} % lost from its peak", basis_text(limits.loss_vet_pct))
    elif lost is not None and lost.pct >= limits.loss_early_pct.value:
        says = f"{lost.pct:.0f} % lost from its peak"
        yield Sign("underfed", says, basis_text(limits.loss_early_pct))
    if found is not None and found.direction == "falling":
        says = f"mass falling by {-found.pct_month:.1f} % a month"
        yield Sign("underfed", says, "Sen 1968, J. Am. Stat. Assoc. 63:1379")
    grown = age is not None and age >= limits.grown_months.value
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
