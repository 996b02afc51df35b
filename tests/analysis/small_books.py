"""Small books for what a pattern says of them, dealt by hand."""

from __future__ import annotations

from dataclasses import replace

from analysis.at_risk import Fed
from analysis.measured import Measured
from analysis.pattern import Judged, Pattern


def fed_one(number: int, animal: str, *, back: bool, box: bool | None) -> Fed:
    """One meal, fed in a box or not (None: not known)."""
    word = None if box is None else "box" if box else "enclosure"
    fed_in = Measured("fed in", word, "common practice", rank_by=word)
    return Fed(number, animal, back, None, {"fed in": fed_in}, {})


def dealt(*animals: tuple[int, int, int, int]) -> list[Fed]:
    """For each animal: in a box and came back, and stayed down; not in a box, likewise."""
    meals: list[Fed] = []
    for index, cells in enumerate(animals):
        for count, (box, back) in zip(
            cells, [(True, True), (True, False), (False, True), (False, False)], strict=True
        ):
            for _ in range(count):
                meals.append(fed_one(len(meals), f"animal {index}", back=back, box=box))
    return meals


def in_turn(*animals: str) -> list[Fed]:
    """Each animal's meals in order: b in a box, e in the enclosure; a capital letter came back."""
    meals: list[Fed] = []
    for index, letters in enumerate(animals):
        for place, letter in enumerate(letters):
            one = fed_one(len(meals), f"animal {index}", back=letter.isupper(), box=letter in "bB")
            after_back = place > 0 and letters[place - 1].isupper()
            meals.append(replace(one, after_one_back=after_back))
    return meals


def only(of: Pattern) -> Judged:
    """The one condition there is."""
    (one,) = of.judged
    return one


def dosed(number: int, pct: float, *, back: bool) -> Fed:
    """One meal of so many % of body mass."""
    share = Measured(
        "prey share of body mass", pct, "a chart", limit=20.0, breaks=pct > 20, rank_by=pct
    )
    return Fed(number, "Maren", back, None, {share.factor: share}, {})
