"""Outcomes against conditions over the whole book: what goes together, and what cannot be told.

Every condition is compared within each animal, among meals near in time, by counting all deals of
the outcomes. That is exact for what is settled when a meal is taken. For what builds up afterwards
each comparison is exact, and their sum takes one as independent of the next, as in a log-rank test.
One is named only when it holds after counting how many were looked at; where the book cannot
decide, it says so, and how many more meals would.
That two things go together does not say that one brings the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import TYPE_CHECKING, Literal

from analysis.at_risk import Fed, Left, fed_meals
from analysis.compared import DOSES, Amount, YesNo, amount, conditions, yes_no
from analysis.statistics.chances import Chances
from analysis.statistics.more_meals import more_meals
from analysis.statistics.multiplicity import Corrected, Evidence, holm_tarone
from analysis.statistics.proportions import Share, wilson
from analysis.statistics.tables import Exact
from config.care import CareProfile
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

LEVEL = 0.05
"""In at most this share of books without any true effect is a condition named (our own choice)."""

WITHOUT_A_RULE = frozenset({"degree-hours below the floor"})
"""Amounts that no rule makes a yes or no of."""

State = Literal["goes together", "not decided", "too few to show", "nothing to compare"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One condition with what can be said of it."""

    of: YesNo | Amount
    p: float | None
    """Two-sided, by animal and stretch, all deals counted; None where nothing can be compared."""
    smallest_p: float | None
    """The smallest p that these numbers could have given at all."""
    corrected: Corrected | None
    more_meals: int | None
    """How many more meals like these would decide; None where none would, or it is decided."""
    earlier_p: float | None
    """Uncorrected, beside earlier meals alone; None where those cannot tell."""

    @property
    def state(self) -> State:
        """Whether it is named, undecided, or could not have shown anything."""
        if self.corrected is None:
            return "nothing to compare"
        if self.corrected.named:
            return "goes together"
        return "too few to show" if self.corrected.smallest_p > LEVEL else "not decided"

    @property
    def more_often(self) -> bool | None:
        """Whether meals came back more often with it (or had more of it); None: neither."""
        chances = self.of.chances
        return None if chances is None or chances.away == 0 else chances.away > 0

    @property
    def holds_beside_earlier(self) -> bool:
        """Whether earlier meals alone show it as well, which no change for an outcome can reach."""
        of = self.of
        if of.chances is None or of.earlier is None or self.earlier_p is None:
            return False
        return self.earlier_p <= LEVEL and of.chances.away * of.earlier.away > 0


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a whole book shows. Meals without a known outcome are in `left`."""

    meals: int
    animals: int
    came_back: Share
    left: Left
    judged: tuple[Judged, ...]

    @property
    def looked_at(self) -> int:
        """Conditions that could be compared at all."""
        return sum(one.p is not None for one in self.judged)

    @property
    def named(self) -> tuple[Judged, ...]:
        """Those that go together with meals coming back, or with meals staying down."""
        return tuple(one for one in self.judged if one.state == "goes together")

    def as_json(self) -> dict[str, object]:
        """The pattern as JSON: chances and shares 0 to 1; null is unknown, or without an end."""
        return {
            "meals": self.meals,
            "animals": self.animals,
            "came_back": self.came_back.as_json(),
            "left_out": asdict(self.left),
            "looked_at": self.looked_at,
            "level": LEVEL,
            "named": [one.of.condition for one in self.named],
            "conditions": [_condition_json(one) for one in self.judged],
        }


def pattern_of_book(
    book: Book, reader: Reader, care: CareProfile, settings: Settings, now_ms: int
) -> Pattern:
    """The pattern of a home. Raises NotSo where the extra `statistics` is not installed."""
    meals, left = fed_meals(book, reader, care, settings, now_ms)
    return pattern(meals, left)


def pattern(meals: Sequence[Fed], left: Left | None = None) -> Pattern:
    """The pattern of meals with known outcomes.

    On books without any true effect at most LEVEL of them get a condition named, all conditions
    together. Raises NotSo where the extra `statistics` is not installed.
    """
    names = conditions(meals)
    compared: list[YesNo | Amount] = [
        yes_no(name, meals) for name in names if name not in WITHOUT_A_RULE
    ]
    compared += [amount(name, meals) for name in names if name in DOSES]
    return Pattern(
        meals=len(meals),
        animals=len({meal.animal for meal in meals}),
        came_back=wilson(sum(meal.came_back for meal in meals), len(meals)),
        left=left if left is not None else Left(0, 0),
        judged=tuple(_judged(compared, len(meals))),
    )


def _judged(compared: Sequence[YesNo | Amount], meals: int) -> list[Judged]:
    evidence = [_evidence(one, one.chances) for one in compared]
    corrected = holm_tarone([one for one in evidence if one is not None], LEVEL)
    # In a longer book every one of them could show something, and counts.
    level = LEVEL / max(1, sum(not one.named for one in corrected))
    in_turn = iter(corrected)
    return [
        _one(of, found, next(in_turn), meals, level)
        if found is not None
        else Judged(of, None, None, None, None, None)
        for of, found in zip(compared, evidence, strict=True)
    ]


def _evidence(of: YesNo | Amount, chances: Chances | None) -> Evidence | None:
    if chances is None:
        return None
    if isinstance(of, YesNo):
        return Evidence(chances.two_sided, chances.smallest)
    return Evidence(chances.doubled, chances.smallest_doubled)


def _one(
    of: YesNo | Amount, found: Evidence, corrected: Corrected, meals: int, level: float
) -> Judged:
    more = None
    if of.chances is not None and not corrected.named:
        more = more_meals(of.chances, meals, found.p, level)
    earlier = _evidence(of, of.earlier)
    return Judged(
        of, found.p, found.smallest_p, corrected, more, earlier.p if earlier is not None else None
    )


# ---- as JSON ---------------------------------------------------------------------------------


def _condition_json(one: Judged) -> dict[str, object]:
    return {
        "condition": one.of.condition,
        "state": one.state,
        "more_often": one.more_often,
        "compared": "hour for hour" if one.of.hour_for_hour else "as taken",
        "animals": one.of.animals,
        "unknown": one.of.unknown,
        "p": one.p,
        "smallest_p": one.smallest_p,
        "p_corrected": one.corrected.p if one.corrected is not None else None,
        "smallest_p_corrected": one.corrected.smallest_p if one.corrected is not None else None,
        "counted": one.corrected.counted if one.corrected is not None else None,
        "p_beside_earlier_meals": one.earlier_p,
        "holds_beside_earlier_meals": one.holds_beside_earlier,
        "more_meals": one.more_meals,
        **(_yes_no_json(one.of) if isinstance(one.of, YesNo) else _amount_json(one.of)),
    }


def _yes_no_json(of: YesNo) -> dict[str, object]:
    common = of.common
    return {
        "kind": "yes or no",
        "limit": of.limit,
        "basis": of.basis,
        "with_it": of.with_it.as_json(),
        "without_it": of.without_it.as_json(),
        "exact": _exact_json(of.exact),
        "cochran_mantel_haenszel": None
        if common is None
        else {
            "chi_squared": common.chi_squared,
            "p": common.p,
            "odds_ratio": _ended(common.odds_ratio),
            "odds_ratio_low": common.odds_ratio_low,
            "odds_ratio_high": common.odds_ratio_high,
        },
        "fisher_as_if_independent": _exact_json(of.pooled),
    }


def _amount_json(of: Amount) -> dict[str, object]:
    response = of.response
    return {
        "kind": "amount",
        "came_back": of.came_back,
        "stayed_down": of.stayed_down,
        "mean_came_back": of.mean_back,
        "mean_stayed_down": of.mean_stayed,
        "firth": None
        if response is None
        else {
            "log_odds_per_unit": response.log_odds_per_unit,
            "low": response.low,
            "high": response.high,
            "meals": response.meals,
            "groups": response.groups,
        },
    }


def _exact_json(exact: Exact | None) -> dict[str, object] | None:
    if exact is None:
        return None
    return {name: _ended(value) for name, value in asdict(exact).items()}


def _ended(value: float) -> float | None:
    return value if isfinite(value) else None
